"""How long the service takes, and how much memory, with the fleet that the `years` example leaves in a folder.

usage: service.py PROGRAM FOLDER

Prints: what a service takes that sees all of it for the first time; the first pass over everything and the digest of
the next morning (`scan`); then of the running service: the time until it says it is ready, its peak and what it holds
at rest, the time from a record's file being in its place to the letter in the outbox, and the peak after that. The
fleet in FOLDER is changed (a row more), and its state is made: run it on a copy.
"""

import datetime
import os
import resource
import signal
import socket
import subprocess
import sys
import threading
import time
from pathlib import Path

PROGRAM, HOME = (Path(argument).resolve() for argument in sys.argv[1:3])
OUTBOX = HOME / "state/outbox"


assert not OUTBOX.exists(), f"{HOME}: a fleet that has no state yet"


def memory(pid, what):
    """MB."""
    lines = Path(f"/proc/{pid}/status").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith(what)) / 1024


def letters():
    return set(OUTBOX.glob("*.eml"))


def scan(what, as_of):
    before, started = resource.getrusage(resource.RUSAGE_CHILDREN), time.monotonic()
    scanning = subprocess.Popen([PROGRAM, "scan", "--config", "cowlwatch.toml", "--as-of", as_of], cwd=HOME, stdout=subprocess.DEVNULL)
    peak = 0
    while scanning.poll() is None:
        try:
            peak = max(peak, memory(scanning.pid, "VmHWM"))
        except (StopIteration, FileNotFoundError):
            pass
        time.sleep(0.005)
    assert scanning.returncode == 0, f"scan ended with {scanning.returncode}"
    wall, after = time.monotonic() - started, resource.getrusage(resource.RUSAGE_CHILDREN)
    cpu = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    print(f"{what}: {wall:.2f} s, {cpu:.2f} s CPU, peak {peak:.0f} MB, {len(letters())} letters so far")


def wait(condition, seconds, what):
    started = time.monotonic()
    while not condition():
        assert time.monotonic() - started < seconds, f"no {what} within {seconds} s"
        time.sleep(0.01)
    return time.monotonic() - started


def first_by_service():
    """With a state of its own."""
    text = (HOME / "cowlwatch.toml").read_text()
    (HOME / "first.toml").write_text(text.replace('state = "state"', 'state = "state-first"'))
    path = HOME / "first.log"
    with open(path, "w") as log:
        first = subprocess.Popen([PROGRAM, "watch", "--config", "first.toml"], cwd=HOME, stdout=log, stderr=log)
    try:
        wait(lambda: " pass " in path.read_text(), 120, "first pass")
        time.sleep(3)
        peak, rest = memory(first.pid, "VmHWM"), memory(first.pid, "VmRSS")
        print(f"service that sees all of it for the first time: peak {peak:.0f} MB, then {rest:.0f} MB")
    finally:
        first.send_signal(signal.SIGTERM)
        first.wait(30)


first_by_service()
logs = sorted((HOME / "fleet").glob("*/logbook.csv"))
last = max(log.read_text().rstrip().rsplit("\n", 1)[1].split(",")[0] for log in logs)
day = datetime.date.fromisoformat(last)
scan("first pass", f"{day + datetime.timedelta(days=1)}T12:00")
scan("the next with nothing new", f"{day + datetime.timedelta(days=1)}T12:30")
scan("next morning, with digest", f"{day + datetime.timedelta(days=2)}T06:31")

ready = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
ready.bind(str(HOME / "ready"))
environment = {**os.environ, "NOTIFY_SOCKET": str(HOME / "ready")}
started = time.monotonic()
with open(HOME / "watch.log", "w") as log:
    service = subprocess.Popen([PROGRAM, "watch", "--config", "cowlwatch.toml"], cwd=HOME, env=environment, stdout=log, stderr=log)
said = []


def listen():
    """Always: what nobody takes is lost."""
    while True:
        text = ready.recv(1000)
        said.append((time.monotonic(), text))


threading.Thread(target=listen, daemon=True).start()
try:
    wait(lambda: any(b"READY=1" in text for _, text in said), 60, "word that it is ready")
    at = next(at for at, text in said if b"READY=1" in text)
    print(f"ready after {at - started:.2f} s")
    passes = lambda: (HOME / "watch.log").read_text().count(" pass ")
    wait(lambda: passes() > 0, 120, "pass")
    print(f"first pass after {time.monotonic() - started:.2f} s, peak {memory(service.pid, 'VmHWM'):.0f} MB")
    time.sleep(10)
    print(f"at rest {memory(service.pid, 'VmRSS'):.0f} MB")
    before, log = letters(), logs[0]
    text = log.read_text()
    hours = text.rstrip().rsplit("\n", 1)[1].split(",")[2]
    row = dict.fromkeys(text.split("\n", 1)[0].split(","), "")
    row.update(date=str(datetime.date.today()), time="00:01", hours=hours, entry="filter-inspected", result="metal")
    new = log.with_name(".new")
    new.write_text(text + ",".join(row.values()) + "\n")
    os.replace(new, log)
    took = wait(lambda: letters() - before, 120, "letter")
    print(f"a row that landed: its letter in the outbox after {took:.2f} s, peak {memory(service.pid, 'VmHWM'):.0f} MB")
    time.sleep(10)
    print(f"at rest {memory(service.pid, 'VmRSS'):.0f} MB")
finally:
    service.send_signal(signal.SIGTERM)
    service.wait(30)
