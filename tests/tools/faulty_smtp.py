"""A mail server that misbehaves as told, built on aiosmtpd. Prints its port, then one line of JSON per letter taken.

usage: faulty_smtp.py MODE CERT KEY
"""

import asyncio
import email
import json
import ssl
import sys

from aiosmtpd.smtp import SMTP, AuthResult

MODE, CERT, KEY = sys.argv[1:4]
FOREVER = 3600


def say(**what):
    print(json.dumps(what), flush=True)


def authenticate(server, session, envelope, mechanism, data):
    if MODE == "auth-535":
        return AuthResult(success=False, handled=False)
    good = data.login == b"cowlwatch" and data.password == b"correct horse"
    return AuthResult(success=good, handled=False)


class Handler:
    async def handle_RCPT(self, server, session, envelope, address, options):
        if MODE == "rcpt-450":
            return "450 4.2.1 mailbox busy"
        if MODE == "rcpt-550" or (MODE == "rcpt-550-for-one" and address.startswith("gone@")):
            return "550 5.1.1 no such user"
        if MODE == "rcpt-mixed" and address.startswith(("busy@", "gone@")):
            return "450 4.2.1 mailbox busy" if address.startswith("busy@") else "550 5.1.1 no such user"
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server, session, envelope):
        if MODE == "data-451":
            return "451 4.3.0 try later"
        if MODE == "data-554":
            return "554 5.7.1 not wanted"
        text = envelope.content.decode("ascii")
        if MODE == "choke" and "poison" in text:
            server.transport.abort()
            return "250 never said"
        message = email.message_from_string(text)
        say(id=message["Message-ID"], to=envelope.rcpt_tos, login=bool(session.authenticated), tls=session.ssl is not None)
        if MODE == "hang-dot":
            await asyncio.sleep(FOREVER)
        if MODE == "drop-dot":
            server.transport.abort()
        return "250 taken"


class Faulty(SMTP):
    async def hang(self, step):
        if MODE == "hang-" + step:
            await asyncio.sleep(FOREVER)

    async def push(self, status):
        if MODE == "trickle":
            for byte in status.encode() if isinstance(status, str) else status:
                self._writer.write(bytes([byte]))
                await self._writer.drain()
                await asyncio.sleep(0.4)
        await super().push(status)

    async def _handle_client(self):
        await self.hang("banner")
        await super()._handle_client()

    async def smtp_EHLO(self, hostname):
        await self.hang("ehlo")
        await super().smtp_EHLO(hostname)

    async def smtp_STARTTLS(self, arg):
        await self.hang("starttls")
        await super().smtp_STARTTLS(arg)

    async def smtp_AUTH(self, arg):
        say(auth_seen=True, tls=self.session.ssl is not None)
        await self.hang("auth")
        await super().smtp_AUTH(arg)

    async def smtp_MAIL(self, arg):
        await self.hang("mail")
        await super().smtp_MAIL(arg)

    async def smtp_RCPT(self, arg):
        await self.hang("rcpt")
        await super().smtp_RCPT(arg)

    async def smtp_DATA(self, arg):
        await self.hang("data")
        await super().smtp_DATA(arg)


async def main():
    context = None
    if MODE != "no-starttls":
        context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
        context.load_cert_chain(CERT, KEY)
    loop = asyncio.get_running_loop()

    def factory():
        return Faulty(
            Handler(),
            hostname="localhost",
            tls_context=None if MODE == "tls" else context,
            authenticator=authenticate,
            # Where the whole line is protected, aiosmtpd does not see that it is.
            auth_require_tls=context is not None and MODE != "tls",
            loop=loop,
        )

    server = await loop.create_server(factory, "127.0.0.1", 0, ssl=context if MODE == "tls" else None)
    print(server.sockets[0].getsockname()[1], flush=True)
    await server.serve_forever()


asyncio.run(main())
