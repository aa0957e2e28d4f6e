"""Runs the service under libfaketime over both daylight-saving days of a year and over clock jumps.

usage: clock.py PROGRAM LIBFAKETIME STEP_MINUTES

Three services with their own state share one false clock (its monotonic clock stays true): one digest at
06:30, one at 02:30, which does not exist in spring, one at 01:30, which comes twice in autumn. The clock goes
in steps over the change in America/Denver in March and in November 2026, each time with restarts, then three
days ahead and back, and three days back and ahead. What is due is worked out by Python's zoneinfo. Each date
must have exactly one digest, made in the step in which it fell due, and one letter; numbers have no gaps.
"""

import json
import os
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
from datetime import date, datetime, timedelta, timezone
from pathlib import Path
from zoneinfo import ZoneInfo

import surroundings

PROGRAM, LIBRARY, STEP = sys.argv[1], sys.argv[2], timedelta(minutes=int(sys.argv[3]))
ZONE = ZoneInfo("America/Denver")
SCHEDULES = [(6, 30), (2, 30), (1, 30)]


def due(day, hour, minute):
    """When the digest of a day falls due: in a gap the first moment after it, in an overlap the first."""
    local = datetime(day.year, day.month, day.day, hour, minute, tzinfo=ZONE)
    moment = local.astimezone(timezone.utc)
    there = moment.astimezone(ZONE)
    if (there.hour, there.minute) == (hour, minute):
        return moment
    while (moment - timedelta(minutes=1)).astimezone(ZONE).utcoffset() == there.utcoffset():
        moment -= timedelta(minutes=1)
    return moment


class Service:
    def __init__(self, folder, clock, schedule):
        self.schedule, self.made, self.process = schedule, {}, None
        self.state = folder / "state"
        engines, config = folder / "engines.toml", folder / "cowlwatch.toml"
        engines.write_text(surroundings.MODELS)
        digest = f'[digest]\nschedule = "{schedule[1]} {schedule[0]} * * *"\n'
        config.write_text(surroundings.configuration("America/Denver", digest))
        for path in [engines, config, *surroundings.add_aircraft(folder / "fleet", "N0001Z", month="2026-01")]:
            os.utime(path, (1767225600, 1767225600))  # 2026-01-01: older than the false clock
        self.arguments = [PROGRAM, "--config", str(config), "watch"]
        self.log = open(folder / "log", "wb")
        self.environment = dict(
            os.environ,
            LD_PRELOAD=LIBRARY,
            FAKETIME_TIMESTAMP_FILE=str(clock),
            FAKETIME_NO_CACHE="1",
            FAKETIME_DONT_FAKE_MONOTONIC="1",
            NO_FAKE_STAT="1",
            TZ="UTC",
        )

    def start(self):
        self.process = subprocess.Popen(self.arguments, env=self.environment, stdout=self.log, stderr=self.log)

    def stop(self):
        self.process.send_signal(signal.SIGTERM)
        # Before its handlers are up, SIGTERM ends it like any program.
        assert self.process.wait(timeout=10) in (0, -signal.SIGTERM)

    def rows(self, sql):
        try:
            connection = sqlite3.connect(f"file:{self.state}/cowlwatch.sqlite?mode=ro", uri=True)
            try:
                return connection.execute(sql).fetchall()
            finally:
                connection.close()
        except sqlite3.OperationalError:
            return []  # not made yet

    def expect(self, now):
        """Notes what falls due at `now`; gives how many digests there must be."""
        today = now.astimezone(ZONE).date()
        if due(today, *self.schedule) <= now and today not in self.made:
            self.made[today] = now
        return len(self.made)

    def check(self):
        digests = self.rows("SELECT date, sequence, made FROM digests ORDER BY sequence")
        said = {date.fromisoformat(day): datetime.fromtimestamp(made / 1000, timezone.utc) for day, _, made in digests}
        assert said.keys() == self.made.keys(), f"{self.schedule}: {sorted(said)} but due were {sorted(self.made)}"
        for day, made in said.items():
            assert abs(made - self.made[day]) < timedelta(seconds=2), f"{day}: at {made}, due in {self.made[day]}"
        assert [sequence for _, sequence, _ in digests] == list(range(1, len(digests) + 1))
        letters = self.rows("SELECT kind, slug FROM letters WHERE sent IS NOT NULL")
        assert sorted(s for k, s in letters if k == "digest") == [f"digest-{d}" for d in sorted(said)]
        assert sorted(k for k, _ in letters if k != "digest") in ([], ["summary"]), letters
        return len(digests)


def moments():
    """(moment, restart before it) in order, both changes of the clocks, then the jumps."""
    count = 0
    for change in [date(2026, 3, 8), date(2026, 11, 1)]:
        midnight = datetime(change.year, change.month, change.day, tzinfo=timezone.utc)
        # From the evening before (local) to past the last schedule of the day after.
        now = midnight + timedelta(hours=4, minutes=40)
        while now < midnight + timedelta(hours=39):
            count += 1
            yield now, count % 5 == 0
            now += STEP
        # A week later the clock is three days ahead for a while, then right; then three days behind for a while.
        noon = midnight + timedelta(days=7, hours=19)
        days = [0, 3, 0, 1, 2, 3, 4, 1, 4, 5]
        for step, day in enumerate(days):
            yield noon + timedelta(days=day), step in (2, 7)


def main():
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        clock = folder / "clock"
        services = []
        for schedule in SCHEDULES:
            home = folder / f"at-{schedule[0]}"
            home.mkdir()
            services.append(Service(home, clock, schedule))
        steps = 0
        try:
            for now, restart in moments():
                new = clock.with_suffix(".new")
                new.write_text(now.strftime("%Y-%m-%d %H:%M:%S"))
                os.replace(new, clock)
                for service in services:
                    if service.process and restart:
                        service.stop()
                    if restart or not service.process:
                        service.start()
                wanted = [service.expect(now) for service in services]
                # What is not due must not come either: twice the service's own look at the clock.
                settled = time.monotonic() + 1.0
                late = settled + 30
                while True:
                    have = [len(s.rows("SELECT 1 FROM digests")) for s in services]
                    sent = [len(s.rows("SELECT 1 FROM letters WHERE kind = 'digest' AND sent IS NOT NULL")) for s in services]
                    if time.monotonic() > settled and have == sent == wanted:
                        break
                    assert time.monotonic() < late, f"{now}: digests {have}, sent {sent}, due {wanted}"
                    time.sleep(0.1)
                steps += 1
            counts = [service.check() for service in services]
        except AssertionError:
            for service in services:
                print(Path(service.log.name).read_text()[-3000:], file=sys.stderr)
            raise
        finally:
            for service in services:
                if service.process and service.process.poll() is None:
                    service.process.kill()
                    service.process.wait()
        print(json.dumps({"steps": steps, "digests": counts, "dates": [len(s.made) for s in services]}))


main()
