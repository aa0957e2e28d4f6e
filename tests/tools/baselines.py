"""What a person would do by hand, on the same logs: charts of the hours between additions, their mean, and the rule of
"two periods alike" for a break-in. The charts themselves are the program's (`cargo run --example charts`)."""

import json
import math
import statistics
import subprocess

NAMES = ("interval CUSUM", "gamma GLR")
LIMITS = [0.5 * i for i in range(4, 60)]


def intervals(life):
    """Engine hours of each logged addition and hours per quart since the one before."""
    out, last = [], None
    for flight, (_, _, added) in zip(life.flights, life.sumps[0].seen):
        if added:
            at = round(flight.after - flight.hours, 1)
            if last and at > last[0]:
                out.append((at, (at - last[0]) / last[1]))
            last = (at, added)
    return out


def ask(program, limits, lives):
    question = json.dumps({"limits": limits, "logs": [intervals(life) for life in lives]})
    return json.loads(subprocess.run([program], input=question, capture_output=True, text=True, check=True).stdout)


def charts(program, per_1000_h, healthy, faults, within):
    """By chart: limit of the same false alarms, median and 90 % delay, share missed."""
    hours = sum(life.flights[-1].after for life in healthy)
    lines = []
    for which, by_limit in enumerate(ask(program, LIMITS, healthy)):
        rates = [1000 * sum(map(len, logs)) / hours for logs in by_limit]
        limit = next(limit for limit, rate in zip(LIMITS, rates) if rate <= per_1000_h)
        delays = []
        for life, alarms in zip(faults, ask(program, [limit], faults)[which][0]):
            late = [a - life.onset_h for a in alarms if 0 < a - life.onset_h <= within]
            delays.append(late[0] if late else math.inf)
        found = sorted(d for d in delays if d < math.inf)
        quantile = lambda q: found[min(len(found) - 1, int(q * len(found)))] if found else math.nan  # noqa: E731
        lines.append({
            "name": NAMES[which], "limit": limit, "median": quantile(0.5), "ninety": quantile(0.9),
            "missed": 100 * delays.count(math.inf) / len(delays),
        })
    return lines


def mean_rate(life):
    """The mean of the rates of intervals: what a spreadsheet shows."""
    gaps = [gap for _, gap in intervals(life)]
    return statistics.fmean(1 / gap for gap in gaps) if gaps else math.nan


def two_periods_alike(life, hours=20.0, within=0.25):
    """Oil added in the last two periods of a build differs by less than a quarter."""
    end = life.flights[-1].after
    added = [0.0, 0.0]
    for flight, (_, _, quarts) in zip(life.flights, life.sumps[0].seen):
        back = int((end - (flight.after - flight.hours)) // hours)
        if back < 2:
            added[back] += quarts
    return added[1] > 0 and abs(added[0] / added[1] - 1) <= within
