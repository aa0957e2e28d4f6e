"""What the cases of a running service share: a fleet of aircraft whose filter showed metal, and a mail server."""

import asyncio
import threading

MODELS = (
    '[[model]]\nname = "Z4"\nrated_hp = 180\nrated_rpm = 2700\ncylinders = 4\nturbocharged = false\n'
    "oil_capacity_qt = 8.0\noil_minimum_qt = 5.0\nconfirmed = true\n"
)


def configuration(zone, *more):
    """cowlwatch.toml beside engines.toml, fleet and state."""
    fleet = '[fleet]\nfolder = "fleet"\nmodels = "engines.toml"\nstate = "state"\n'
    return "".join([fleet, f'time_zone = "{zone}"\n', *more])


def mail(port):
    return (
        f'[mail]\nserver = "127.0.0.1"\nport = {port}\nsecurity = "none"\nfrom = "cowlwatch@example.org"\n'
        'to = ["maintenance@example.org"]\n'
    )


def add_aircraft(fleet, tail, month="2026-11", remarks=()):
    """A warning: flown on the 20th of the month, metal on the 21st. Gives the files made."""
    folder = fleet / tail
    folder.mkdir(parents=True)
    log = f"date,hours,entry,flight_hours,result,remarks\n{month}-20,101.0,flight,1.0,,\n"
    log += f"{month}-21,101.0,filter-inspected,,metal,\n"
    log += "".join(f"{month}-20,101.0,note,,,{remark}\n" for remark in remarks)
    aircraft = (
        f'tail = "{tail}"\nmeter = "tach"\n[[engine]]\nserial = "Z-{tail}"\nmodel = "Z4"\n'
        'hours_at_start = 900.0\nsince = "overhaul"\nhours_since = 300.0\noil = "AD 50"\nlast_oil_change_h = 5.0\n'
    )
    # The log comes first, so that no look meets an aircraft without its reason.
    made = [folder / "logbook.csv", folder / "aircraft.toml"]
    for path, text in zip(made, [log, aircraft]):
        path.write_text(text)
    return made


def mail_server(handler):
    """Starts one that does what `handler` (of aiosmtpd) does; gives its port."""
    from aiosmtpd.smtp import SMTP

    ready, port = threading.Event(), []

    async def serve():
        loop = asyncio.get_running_loop()
        server = await loop.create_server(lambda: SMTP(handler, hostname="localhost", loop=loop), "127.0.0.1", 0)
        port.append(server.sockets[0].getsockname()[1])
        ready.set()
        await server.serve_forever()

    threading.Thread(target=lambda: asyncio.run(serve()), daemon=True).start()
    assert ready.wait(10), "the mail server did not start"
    return port[0]
