"""Kills the service at random moments while its mail server misbehaves, then counts.

usage: kills.py PROGRAM KILLS TERMS SEED

A warning is added (a new aircraft whose filter showed metal), the service starts, and is killed
some moment later; the server refuses, drops the line after the final dot, or takes letters, by chance.
At the end a good server and one last round. Then: each aircraft has exactly one alert, every letter
was taken, a letter taken twice is the same letter (Message-ID), and that only where the server dropped the
line after taking it or the kill came within a second of it. Then orderly stops: nothing repeats.
"""

import asyncio
import collections
import email
import json
import os
import random
import signal
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

import surroundings

PROGRAM, KILLS, TERMS, SEED = sys.argv[1], int(sys.argv[2]), int(sys.argv[3]), int(sys.argv[4])
chance = random.Random(SEED)
faults = random.Random(SEED + 1)
taken = collections.Counter()
times = collections.defaultdict(list)  # Message-ID -> (when taken, dropped after)
killed = []
good = threading.Event()


class Handler:
    async def handle_RCPT(self, server, session, envelope, address, options):
        if not good.is_set() and faults.random() < 0.15:
            return "451 4.3.0 later"
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server, session, envelope):
        message = email.message_from_bytes(envelope.content)
        if not good.is_set():
            await asyncio.sleep(faults.random() * 0.1)
            if faults.random() < 0.15:
                return "554 5.7.1 not wanted"
        drop = not good.is_set() and faults.random() < 0.15
        taken[message["Message-ID"]] += 1
        times[message["Message-ID"]].append((time.monotonic(), drop))
        if drop:
            server.transport.abort()
        return "250 taken"


def tail_of(number):
    return f"N0{number:04}Z"


def window(moments):
    """Longest time from taking a letter that came again to the kill that let it: 0 where the line was dropped."""
    longest = 0.0
    for taken_at, dropped in moments[:-1]:
        if not dropped:
            longest = max(longest, min(k for k in killed + [float("inf")] if k >= taken_at) - taken_at)
    return longest


def add_aircraft(fleet, number):
    old = time.time() - 60
    for path in surroundings.add_aircraft(fleet, tail_of(number)):
        os.utime(path, (old, old))


def rows(state, sql):
    connection = sqlite3.connect(state / "cowlwatch.sqlite")
    try:
        return connection.execute(sql).fetchall()
    finally:
        connection.close()


def make_due(state):
    connection = sqlite3.connect(state / "cowlwatch.sqlite")
    with connection:
        connection.execute("UPDATE letters SET next_try = 0 WHERE sent IS NULL")
    connection.close()


def main():
    port = surroundings.mail_server(Handler())
    with tempfile.TemporaryDirectory() as name:
        run(Path(name), port)


def run(folder, port):
    fleet, state = folder / "fleet", folder / "state"
    fleet.mkdir()
    (folder / "engines.toml").write_text(surroundings.MODELS)
    config = folder / "cowlwatch.toml"
    config.write_text(surroundings.configuration("America/Denver", surroundings.mail(port)))
    log = open(folder / "log", "wb")

    def watch():
        arguments = [PROGRAM, "--config", str(config), "watch"]
        return subprocess.Popen(arguments, stdout=log, stderr=log)

    def scan():
        return subprocess.run([PROGRAM, "--config", str(config), "scan"], capture_output=True, text=True)

    kills = 0
    for number in range(1, KILLS + 1):
        add_aircraft(fleet, number)
        service = watch()
        time.sleep(chance.uniform(0.0, 1.2))
        early = service.poll()
        assert early is None, f"ended by itself with {early}: {(folder / 'log').read_text()[-2000:]}"
        service.send_signal(signal.SIGKILL)
        service.wait()
        killed.append(time.monotonic())
        kills += 1
        if (state / "cowlwatch.sqlite").exists() and chance.random() < 0.5:
            make_due(state)
    good.set()
    for _ in range(3):
        last = scan()
        assert last.returncode == 0, last.stderr
        make_due(state)

    alerts = rows(state, "SELECT number, key, tail FROM alerts WHERE kind = 'metal-found' ORDER BY number")
    tails = collections.Counter(tail for _, _, tail in alerts)
    lost = {tail_of(n) for n in range(1, KILLS + 1)} - set(tails)
    assert not lost and len(tails) == KILLS, f"lost: {lost}; {len(tails)} of {KILLS}"
    assert max(tails.values()) == 1 and len({key for _, key, _ in alerts}) == KILLS, "doubled rows"
    letters = rows(state, "SELECT message_id, sent FROM letters")
    assert all(sent for _, sent in letters), "a letter was left"
    ids = [i for i, _ in letters]
    assert len(set(ids)) == len(ids) and set(ids) == set(taken), "letters and what the server took differ"
    untold = rows(state, "SELECT number FROM alerts WHERE kind = 'metal-found' AND json_extract(body, '$.told') IS NULL")
    assert not untold, f"never told: {untold}"
    repeats = sum(n - 1 for n in taken.values())
    dropped = sum(dropped for moments in times.values() for _, dropped in moments[:-1])
    longest_window = max(window(moments) for moments in times.values())
    assert longest_window < 1.0, f"a letter came again though nothing happened for {longest_window:.1f} s after it"

    before = sum(taken.values())
    longest = 0.0
    for _ in range(TERMS):
        service = watch()
        time.sleep(chance.uniform(0.3, 0.8))
        began = time.monotonic()
        service.send_signal(signal.SIGTERM)
        code = service.wait(timeout=10)
        longest = max(longest, time.monotonic() - began)
        # Before its handlers are up, SIGTERM ends it like any program.
        assert code in (0, -signal.SIGTERM), code
    extra = sum(taken.values()) - before
    assert extra == 0, f"{extra} letters repeated by restarts"
    print(json.dumps({"kills": kills, "alerts": len(alerts), "letters": len(letters), "repeats": repeats,
                      "of_these_after_a_dropped_line": dropped, "longest_window_s": round(longest_window, 3),
                      "restarts": TERMS, "longest_stop_s": round(longest, 2)}))


main()
