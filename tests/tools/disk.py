"""Runs the service with its state on a small disk of its own: full, locked by another, made read-only, read-only.

usage: disk.py PROGRAM

The service must stay up (or refuse to start, where nothing can be written), say so, send no letter twice, and
go on by itself: what came meanwhile is told once. With it go a backup where there are no links and a share that
hangs at the start. Needs root, for a tmpfs, and strace; without root, it ends with code 77.
"""

import asyncio
import collections
import email
import email.policy
import json
import os
import signal
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

import surroundings

PROGRAM = sys.argv[1]
taken = collections.Counter()
subjects = []
arrived, go = threading.Event(), threading.Event()
go.set()


class Handler:
    async def handle_DATA(self, server, session, envelope):
        arrived.set()
        while not go.is_set():
            await asyncio.sleep(0.02)
        message = email.message_from_bytes(envelope.content, policy=email.policy.default)
        taken[message["Message-ID"]] += 1
        subjects.append(message["Subject"])
        return "250 taken"


def add_aircraft(fleet, number, remarks=0):
    """Its log has as many remarks more, each unlike the others."""
    surroundings.add_aircraft(fleet, f"N0{number}Z", remarks=[os.urandom(40).hex() for _ in range(remarks)])


class Case:
    def __init__(self, folder, port):
        self.fleet, self.state, self.log = folder / "fleet", folder / "state", folder / "log"
        self.fleet.mkdir()
        self.state.mkdir()
        self.service = None
        (folder / "engines.toml").write_text(surroundings.MODELS)
        self.config = folder / "cowlwatch.toml"
        digest = '[digest]\nschedule = "0 0 1 1 *"\n'
        self.config.write_text(surroundings.configuration("UTC", digest, surroundings.mail(port)))

    def start(self, under=()):
        arguments = [*under, PROGRAM, "--config", str(self.config), "watch"]
        self.service = subprocess.Popen(arguments, stdout=subprocess.DEVNULL, stderr=open(self.log, "ab"))

    def stop(self):
        self.service.send_signal(signal.SIGTERM)
        assert self.service.wait(timeout=10) == 0

    def said(self, words):
        return self.log.read_text().count(words)

    def wait(self, what, done, seconds=40):
        end = time.monotonic() + seconds
        while not done():
            assert self.service.poll() is None, f"{what}: ended with {self.service.returncode}"
            assert time.monotonic() < end, f"not seen: {what}"
            time.sleep(0.05)

    def told(self, number, seconds=40):
        self.wait(f"N0{number}Z told", lambda: any(f"N0{number}Z" in s for s in subjects), seconds)


def full(case):
    ballast = case.state / "ballast"
    with open(ballast, "wb", buffering=0) as file:
        try:
            while True:
                file.write(b"\0" * 4096)
        except OSError:
            pass
    before = sum(taken.values())
    add_aircraft(case.fleet, 2, remarks=20_000)
    case.wait("the full disk is said", lambda: case.said("the disk with the state is full"))
    time.sleep(12)
    assert case.service.poll() is None and sum(taken.values()) == before
    assert case.said("cannot be written; nothing is judged") == 1, "said once while it lasts, not with every try"
    ballast.unlink()
    case.told(2)
    assert case.said("the state can be written again") == 1


def locked(case):
    """The server takes a letter while another program holds the state, longer than we wait for it."""
    arrived.clear()
    go.clear()
    add_aircraft(case.fleet, 3)
    assert arrived.wait(30)
    other = sqlite3.connect(case.state / "cowlwatch.sqlite", isolation_level=None)
    other.execute("BEGIN EXCLUSIVE")
    go.set()
    case.wait("the lock is said", lambda: case.said("in use by another program"))
    add_aircraft(case.fleet, 4)
    time.sleep(3)
    other.execute("ROLLBACK")
    other.close()
    case.told(4)


def read_only(case):
    case.stop()
    subprocess.run(["mount", "-o", "remount,ro", str(case.state)], check=True)
    add_aircraft(case.fleet, 5)
    before = sum(taken.values())
    for command in ["watch", "scan"]:
        arguments = [PROGRAM, "--config", str(case.config), command]
        ended = subprocess.run(arguments, capture_output=True, text=True, timeout=60)
        assert ended.returncode in (73, 74), (command, ended)
        assert str(case.state) in ended.stderr or "read-only" in ended.stderr, (command, ended.stderr)
    assert sum(taken.values()) == before
    subprocess.run(["mount", "-o", "remount,rw", str(case.state)], check=True)
    case.start()
    case.told(5)


def read_only_meanwhile(case):
    """The system makes the disk read-only under the running service, as it does after an error of the disk.

    No mount can be turned so while a file on it is open for writing, so strace has the calls fail as they would.
    """
    files = ["cowlwatch.sqlite", "cowlwatch.sqlite-wal", "cowlwatch.prom.part", "page/index.html.part"]
    paths = [word for file in files for word in ("-P", str(case.state / file))]
    calls = "write,pwrite64,openat,ftruncate,unlink,rename"
    strace = ["strace", "-f", "-qq", "-o", "/dev/null", "-p", str(case.service.pid), *paths]
    before, said = sum(taken.values()), case.said("cannot be written; nothing is judged")
    again = case.said("the state can be written again")
    arrived.clear()
    go.clear()
    add_aircraft(case.fleet, 6)
    assert arrived.wait(30)
    tracer = subprocess.Popen([*strace, "-e", f"trace={calls}", "-e", f"inject={calls}:error=EROFS"])
    try:
        case.wait("strace is there", lambda: "TracerPid:\t0\n" not in Path(f"/proc/{case.service.pid}/status").read_text())
        # The server takes a letter that cannot be noted, and there is news that cannot be kept.
        go.set()
        add_aircraft(case.fleet, 7)
        case.wait("the read-only disk is said", lambda: case.said("cannot be written; nothing is judged") > said)
        time.sleep(12)
        assert tracer.poll() is None and case.service.poll() is None and sum(taken.values()) == before + 1
        assert case.said("cannot be written; nothing is judged") == said + 1, "said once while it lasts"
        assert case.said("made it read-only; see dmesg") == 1
    finally:
        tracer.send_signal(signal.SIGINT)
        tracer.wait(timeout=10)
    case.told(7)
    assert case.said("the state can be written again") == again + 1


def no_links(case):
    """A backup onto a file system without hard links, as on a USB stick."""
    strace = ["strace", "-qq", "-o", "/dev/null", "-e", "trace=link,linkat", "-e", "inject=link,linkat:error=EPERM"]
    copy = case.config.with_name("copy.sqlite")
    backup = [PROGRAM, "--config", str(case.config), "backup", str(copy)]
    subprocess.run([*strace, *backup], check=True, stdout=subprocess.DEVNULL)
    assert sqlite3.connect(copy).execute("SELECT count(*) FROM letters").fetchone()[0] > 0
    assert subprocess.run(backup, capture_output=True).returncode == 73, "never overwrites"
    assert sorted(p.name for p in copy.parent.glob("copy*")) == [copy.name]


def slow_share(case):
    """A share that does not answer who asks for its events holds up neither the start nor the look."""
    case.stop()
    strace = ["strace", "-f", "-qq", "-o", "/dev/null", "-e", "trace=inotify_add_watch"]
    case.start([*strace, "-e", "inject=inotify_add_watch:delay_enter=20000000"])
    add_aircraft(case.fleet, 8)
    case.told(8, seconds=10)
    children = Path(f"/proc/{case.service.pid}/task/{case.service.pid}/children").read_text().split()
    os.kill(int(children[0]), signal.SIGTERM)
    case.service.wait(timeout=40)
    watching = case.said("watching folder")
    case.start()
    case.wait("it is up again", lambda: case.said("watching folder") > watching)


def main():
    if os.geteuid() != 0:
        print("skipped: needs root to mount a tmpfs", file=sys.stderr)
        return 77
    port = surroundings.mail_server(Handler())
    with tempfile.TemporaryDirectory() as name:
        case = Case(Path(name), port)
        mount = ["mount", "-t", "tmpfs", "-o", "size=8m", "tmpfs", str(case.state)]
        if subprocess.run(mount).returncode != 0:
            print("skipped: a tmpfs cannot be mounted here", file=sys.stderr)
            return 77
        try:
            add_aircraft(case.fleet, 1)
            case.start()
            case.wait("the first summary", lambda: sum(taken.values()) == 1)
            full(case)
            locked(case)
            read_only_meanwhile(case)
            no_links(case)
            slow_share(case)
            read_only(case)
            case.stop()
            case.start()
            time.sleep(2)
            case.stop()
        except AssertionError:
            print(case.log.read_text()[-6000:], file=sys.stderr)
            raise
        finally:
            if case.service and case.service.poll() is None:
                case.service.kill()
                case.service.wait()
            subprocess.run(["umount", str(case.state)], check=True)
    assert set(taken.values()) == {1}, f"letters sent again: {taken}"
    assert len(subjects) == 8, subjects
    print(json.dumps({"letters": len(subjects), "full": 1, "locked": 1, "read_only": 2}))
    return 0


sys.exit(main())
