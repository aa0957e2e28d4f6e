#!/usr/bin/env python3
"""Measures detection from outside: logbook files in, `cowlwatch replay --json` out, against a known truth.

    tests/tools/front_door.py PROGRAM [--engines N] [--seed WORD] [--only detection,healthy,...] [--jobs 2] [--json FILE]
    tests/tools/front_door.py PROGRAM --charts CHARTS        all of it, and the goals beside what was measured

Logs are made by `pilots.py`, which shares nothing with the program or its own simulator. A seed is any word: figures
that guided a choice are worth nothing until seen again with another one.
"""

import argparse
import json
import math
import os
import pathlib
import shutil
import statistics
import subprocess
import sys
import tempfile
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from datetime import datetime, timedelta

sys.path.insert(0, str(pathlib.Path(__file__).parent))
import baselines  # noqa: E402
import goals_table  # noqa: E402
import known  # noqa: E402
from pilots import KINDS, RATES, Case, live  # noqa: E402

PER_SIDE = 1 / 3          # false alarms per 1000 h: one in 3000 h, each side
SETTING = 2 * PER_SIDE
DEFAULT = 0.3
WITHIN_H = 50.0
UNLOGGED = {"levels": 0.015, "flights": 0.04}     # shares by which a rate is raised for additions nobody logs
FAULT = (200.0, 250.0)
RISE, FALL = "oil-rate-rise", "oil-rate-fall"
MODELS = """[[model]]
name = "F6-300"
rated_hp = 300
rated_rpm = 2700
cylinders = 6
oil_capacity_qt = 8
oil_minimum_qt = 3
"""


class Door:
    """A fleet folder, and the program run on it."""

    def __init__(self, program, lives):
        self.program, self.folder = program, pathlib.Path(tempfile.mkdtemp(prefix="front-door-"))
        (self.folder / "engines.toml").write_text(MODELS)
        for life in lives:
            tail = self.folder / "fleet" / life.tail
            tail.mkdir(parents=True)
            for name, text in life.files.items():
                (tail / name).write_text(text)

    def replay(self, setting, as_of=None):
        config = self.folder / f"{setting:.3f}.toml"
        config.write_text(
            '[fleet]\nfolder = "fleet"\nmodels = "engines.toml"\nstate = "state"\ntime_zone = "America/Denver"\n'
            f"[consumption]\nfalse_alarms_per_1000_h = {setting:.4f}\n"
        )
        command = [self.program, "--config", str(config), "replay", "--json"]
        done = subprocess.run(command + (["--to", as_of] if as_of else []), capture_output=True, text=True, check=False)
        if done.returncode not in (0, 1):
            raise SystemExit(f"{' '.join(command)}: exit {done.returncode}\n{done.stderr}")
        return json.loads(done.stdout)

    def __enter__(self):
        return self

    def __exit__(self, *_):
        shutil.rmtree(self.folder)


def local(text):
    """A moment of the output as the fleet's clock showed it."""
    return datetime.fromisoformat(text).replace(tzinfo=None) if text else datetime.max


def lives(case, engines, seed):
    return [live(case, f"N0{i:04d}", f"{seed}/{i}") for i in range(engines)]


def per_engine(out, position=None):
    found = {}
    for alert in out["alerts"]:
        if position is None or alert["position"] in (None, position):
            found.setdefault(alert["tail"], []).append(alert)
    return found


def fates(lives, out, position=None):
    """What became of each fault: ('found', delay h), ('growth', delay), ('missed',), ('rise open',), ('fall open',)."""
    found, told = per_engine(out, position), []
    for life in lives:
        alerts = found.get(life.tail, [])
        late = lambda moment: life.flown_at(moment) - life.onset_h  # noqa: E731
        rises = sorted(local(a["raised"]) for a in alerts if a["kind"] == RISE)
        fresh = [late(at) for at in rises if at >= life.onset]
        open_ = [a for a in alerts if local(a["raised"]) < life.onset <= local(a["closed"])]
        rise = next((a for a in open_ if a["kind"] == RISE), None)
        if fresh and fresh[0] <= WITHIN_H:
            told.append(("found", fresh[0]))
        elif rise:
            grown = local(rise["evidence"].get("changed_again"))
            grew = grown != datetime.max and grown >= life.onset and late(grown) <= WITHIN_H
            told.append(("growth", late(grown)) if grew else ("rise open", None))
        elif any(a["kind"] == FALL for a in open_):
            told.append(("fall open", None))
        else:
            told.append(("missed", None))
    return told


def quantile(values, q):
    values = sorted(values)
    return values[min(len(values) - 1, int(len(values) * q))] if values else math.nan


def detection(program, case, engines, seed, compare=False):
    """One line of the table of delays."""
    made = lives(case, engines, f"{seed}/fault")
    with Door(program, made) as door:
        told = fates(made, door.replay(SETTING))
    share = {w: 100 * sum(t[0] == w for t in told) / engines for w in ("missed", "growth", "rise open", "fall open")}
    delays = [t[1] for t in told if t[0] == "found"]
    best = known_median = known_ninety = math.nan
    if compare:
        healthy = lives(replace(case, fault=(math.inf, math.inf), ratio=1.0), 60, f"{seed}/known")
        limit = known.limit_for(healthy, PER_SIDE)
        # Both from the onset on: what either said falsely before it is another question.
        firsts = [next(iter(known.alarms(life, limit, life.onset_h)), math.inf) - life.onset_h for life in made]
        pairs = [(f[1], k) for f, k in zip(told, firsts) if f[0] == "found" and k <= WITHIN_H]
        best = statistics.fmean(p[0] for p in pairs) / statistics.fmean(p[1] for p in pairs)
        known_median, known_ninety = quantile(firsts, 0.5), quantile(firsts, 0.9)
    return {
        "what": "detection", "kind": case.kind, "rate": case.rate, "ratio": case.ratio, "engines": engines,
        "median": quantile(delays, 0.5), "ninety": quantile(delays, 0.9), "to_known": best, "known_median": known_median,
        "known_ninety": known_ninety, **share,
    }


def brief(program, case, engines, seed):
    """Only whether a doubling is found, for the test suite."""
    return detection(program, case, engines, seed)


def healthy(program, case, engines, seed, name=""):
    """False alarms at two settings, questions asked, coverage along the life."""
    made = lives(case, engines, f"{seed}/healthy")
    hours = sum(life.flights[-1].after for life in made)
    line = {"what": "healthy", "name": name, "kind": case.kind, "rate": case.rate, "hours": hours, "settings": {}}
    with Door(program, made) as door:
        for setting in (SETTING, DEFAULT):
            out = door.replay(setting)
            count = lambda kind: 1000 * sum(a["kind"] == kind for a in out["alerts"]) / hours  # noqa: E731
            kinds = ("oil-rate-creep", "oil-rate-ceiling", "addition-not-logged", "refill-not-logged", "hours-disagree")
            line["settings"][f"{setting:.3f}"] = {"rise": count(RISE), "fall": count(FALL), **{k: count(k) for k in kinds}}
        inside = asked = 0
        last = max(life.flights[-1].on for life in made)
        first = min(life.flights[0].on for life in made)
        for share in (0.1, 0.2, 0.35, 0.5, 0.75, 1.0) if not name else ():
            at = first + share * (last - first)
            for engine, life, i in estimates(door.replay(DEFAULT, f"{at:%Y-%m-%d}"), made, at):
                truth = mixed(life, i)
                asked += 1
                inside += engine["rate_low"] <= truth <= engine["rate_high"]
        line["covers"] = 100 * inside / asked if asked else math.nan
    return line


def estimates(out, made, at):
    """Engines whose rate is told, with their life and the last flight flown by then."""
    by_tail = {life.tail: life for life in made}
    for engine in out["engines"]:
        life = by_tail[engine["tail"]]
        i = sum(f.on.date() < at.date() for f in life.flights) - 1
        burnt = sum(r * f.hours for r, f in zip(life.sumps[0].rates[: i + 1], life.flights))
        if engine["rate_qt_per_h"] is not None and i >= 0 and burnt >= 3:
            yield engine, life, i


def mixed(life, i):
    """The true rate by then, over the services flown so far."""
    flown = life.flights[: i + 1]
    factor = sum(f.hours * life.factors[f.service] for f in flown) / sum(f.hours for f in flown)
    return life.sumps[0].rates[i] * factor


def precision(program, case, engines, seed):
    """Error of the rate, and coverage of its interval, once so many quarts were burnt."""
    made = lives(case, engines, f"{seed}/{case.quarts:.0f} quarts")
    with Door(program, made) as door:
        out = door.replay(DEFAULT)
    told = list(estimates(out, made, datetime.max - timedelta(days=1)))
    fooled = {a["tail"] for a in out["alerts"] if a["kind"] in (RISE, FALL)}
    calm = [engine["rate_qt_per_h"] / mixed(life, i) - 1 for engine, life, i in told if life.tail not in fooled]
    errors = [engine["rate_qt_per_h"] / mixed(life, i) - 1 for engine, life, i in told]
    naive = [baselines.mean_rate(life) / mixed(life, i) - 1 for _, life, i in told]
    naive = [e for e in naive if not math.isnan(e)]
    share = UNLOGGED.get(case.kind)
    best = [known.rate_of(life, share) / life.sumps[0].rates[-1] - 1 for life in made] if share else [math.nan]
    error = lambda errors: 100 * math.sqrt(statistics.fmean(e * e for e in errors))  # noqa: E731
    inside = sum(engine["rate_low"] <= mixed(life, i) <= engine["rate_high"] for engine, life, i in told)
    return {
        "what": "precision", "kind": case.kind, "rate": case.rate, "quarts": case.quarts, "engines": len(told),
        "rmse": error(errors), "bias": 100 * statistics.fmean(errors), "naive": error(naive), "rmse_calm": error(calm),
        "known": error(best), "covers": 100 * inside / len(told),
    }


def twins(program, case, engines, seed):
    """The same twins with the service written down and without."""
    line, both = {"what": "twins", "kind": case.kind, "engines": engines}, []
    for logged in (True, False):
        made = lives(replace(case, twin=True, service_logged=logged), engines, f"{seed}/twins")
        with Door(program, made) as door:
            out = door.replay(SETTING)
        told = fates(made, out, "left")
        mate = sum(a["position"] == "right" and a["kind"] in (RISE, FALL) for a in out["alerts"])
        early = sum(a["kind"] in (RISE, FALL) and local(a["raised"]) < life.onset
                    for life in made for a in per_engine(out).get(life.tail, []))
        delays = [t[1] for t in told if t[0] == "found"]
        both.append([t[1] if t[0] == "found" else None for t in told])
        line["logged" if logged else "not logged"] = {
            "median": quantile(delays, 0.5), "ninety": quantile(delays, 0.9), "found": 100 * len(delays) / engines,
            "mate": 100 * mate / engines, "diverged": 100 * sum(a["kind"] == "engines-diverged" for a in out["alerts"]) / engines,
            "early_per_1000_h": 1000 * early / sum(2 * life.onset_h for life in made),
        }
    pairs = [(a, b) for a, b in zip(*both) if a is not None and b is not None]
    line["ratio"] = statistics.fmean(p[1] for p in pairs) / statistics.fmean(p[0] for p in pairs)
    return line


def seating(program, case, engines, seed, name):
    """How many builds are called stabilised by the end of the log."""
    made = lives(case, engines, f"{seed}/{name}")
    with Door(program, made) as door:
        alerts = door.replay(DEFAULT)["alerts"]
    alike = 100 * sum(map(baselines.two_periods_alike, made)) / engines
    share = lambda kind: 100 * len({a["tail"] for a in alerts if a["kind"] == kind}) / engines  # noqa: E731
    return {"what": "seating", "name": name, "kind": case.kind, "hours": case.hours, "alike": alike,
            "called": share("break-in-stabilised"), "rises": share(RISE), "falls": share(FALL)}


def classical(charts, ratio, engines, seed):
    """Interval CUSUM and gamma likelihood ratio on the logs of flights and additions."""
    case = Case(kind="flights")
    made = lives(case, engines, f"{seed}/healthy")
    faults = lives(replace(case, fault=FAULT, ratio=ratio), engines, f"{seed}/fault")
    return {"what": "classical", "ratio": ratio, "charts": baselines.charts(charts, PER_SIDE, made, faults, WITHIN_H)}


def tasks(program, charts, n, seed, only):
    """(function, arguments) in the order of the tables."""
    todo = []
    for kind in KINDS:
        case = Case(kind=kind, fault=FAULT)
        todo += [(detection, (replace(case, ratio=2.0), n, seed, kind != "additions")), (detection, (replace(case, ratio=1.5), n, seed))]
        todo += [(detection, (replace(case, ratio=2.0, rate=r), max(20, n // 2), seed)) for r in RATES if r != 0.125]
        todo += [(healthy, (Case(kind=kind, rate=r), n, seed)) for r in RATES]
        todo += [(precision, (Case(kind=kind, rate=r, quarts=q, hours=900.0), n, seed)) for q in (5.0, 20.0) for r in (1 / 12, 1 / 8, 1 / 5)]
    for kind in KINDS[:2]:
        todo += [(twins, (Case(kind=kind, fault=FAULT, ratio=2.0), n, seed))]
        todo += [(seating, (Case(kind=kind, hours=50.0, seating=(2.0, 60.0)), n, seed, "badly seated"))]
        todo += [(seating, (Case(kind=kind, hours=60.0, seating=(2.0, 9.0)), n, seed, "well seated"))]
        for name, change in (
            ("hours mis-keyed 5 %", {"miskeyed": 0.05}), ("a quarter of refills not logged", {"refills_unlogged": 0.25}),
            ("service not logged", {"service_logged": False}), ("mark not told", {"mark_told": False}),
        ):
            todo += [(healthy, (replace(Case(kind=kind), **change), n, seed, name))]
    todo = [(f, (program, *a)) for f, a in todo]
    todo += [(classical, (charts, r, n, seed)) for r in (2.0, 1.5) if charts]
    if "brief" in only:
        return [(brief, (program, Case(kind=k, fault=FAULT, ratio=2.0), n, seed)) for k in KINDS[:2]]
    return [(f, a) for f, a in todo if not only or f.__name__ in only]


def call(task):
    return task[0](*task[1])


def main():
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("program")
    options.add_argument("--engines", type=int, default=150, help="per case")
    options.add_argument("--seed", default="first", help="any word")
    options.add_argument("--only", default="", help="detection, healthy, precision, twins, seating, classical; by comma; or brief")
    options.add_argument("--jobs", type=int, default=os.cpu_count())
    options.add_argument("--charts", help="the example `charts`; with it the table of goals is printed")
    options.add_argument("--json", help="also write every figure to this file")
    given = options.parse_args()
    charts = given.charts and os.path.abspath(given.charts)
    todo = tasks(os.path.abspath(given.program), charts, given.engines, given.seed, set(filter(None, given.only.split(","))))
    results = []
    with ProcessPoolExecutor(given.jobs) as pool:
        for line in pool.map(call, todo):
            results.append(line)
            print(tell(line), flush=True)
    if charts and not given.only:
        print("\n" + goals_table.table(results, SETTING, given.engines, given.seed))
    if given.json:
        # Not-a-number is no JSON.
        lines = [{k: None if isinstance(v, float) and math.isnan(v) else v for k, v in line.items()} for line in results]
        pathlib.Path(given.json).write_text(json.dumps({"seed": given.seed, "engines": given.engines, "results": lines}, indent=1))


def tell(r):
    per = f"{r['kind']:9} {r['rate']:.3f} qt/h" if "rate" in r else f"{r.get('kind', ''):9}"
    if r["what"] == "detection":
        known_ = "" if math.isnan(r["to_known"]) else f", {r['to_known']:.2f} x the filter that knows (median {r['known_median']:.1f} h, 90 % {r['known_ninety']:.1f} h)"
        return (f"fault   {per} x{r['ratio']:g}: median {r['median']:.1f} h, 90 % {r['ninety']:.1f} h; missed {r['missed']:.1f} %, "
                f"false rise open {r['rise open']:.1f} % (+ told as growth {r['growth']:.1f} %), false fall open {r['fall open']:.1f} %{known_}")
    if r["what"] == "healthy":
        text = "; ".join(f"at {s}: rise {v['rise']:.2f} fall {v['fall']:.2f}" for s, v in r["settings"].items())
        v = list(r["settings"].values())[0]
        more = f"not logged {v['addition-not-logged']:.2f}, refill {v['refill-not-logged']:.2f}, hours {v['hours-disagree']:.2f}, creep {v['oil-rate-creep']:.2f}"
        covers = "" if math.isnan(r["covers"]) else f"; 90 % interval covers {r['covers']:.0f} %"
        return f"healthy {per} {r['name']} {r['hours']:.0f} h, per 1000 h: {text}; {more}{covers}"
    if r["what"] == "precision":
        known_ = "" if math.isnan(r["known"]) else f", {r['known']:.1f} % by a filter that knows all but the rate"
        return (f"rate    {per} after {r['quarts']:.0f} qt: RMSE {r['rmse']:.1f} % ({r['rmse_calm']:.1f} % without a false alarm{known_}), "
                f"bias {r['bias']:+.1f} %, interval covers {r['covers']:.0f} % ({r['engines']} engines)")
    if r["what"] == "twins":
        text = "; ".join(f"{k}: median {r[k]['median']:.1f}, 90 % {r[k]['ninety']:.1f}, found {r[k]['found']:.0f} %, mate accused {r[k]['mate']:.0f} %, "
                         f"diverged {r[k]['diverged']:.0f} %, early {r[k]['early_per_1000_h']:.2f}/1000 h" for k in ("logged", "not logged"))
        return f"twins   {per} service {text}; delay ratio {r['ratio']:.2f}"
    if r["what"] == "classical":
        return "\n".join(f"by hand x{r['ratio']:g} {c['name']} (limit {c['limit']}): median {c['median']:.1f} h, 90 % {c['ninety']:.1f} h, missed {c['missed']:.0f} %"
                         for c in r["charts"])
    return f"build   {per} {r['name']}, {r['hours']:.0f} h: called stabilised {r['called']:.1f} %, rises {r['rises']:.1f} %, falls {r['falls']:.1f} %"


if __name__ == "__main__":
    main()
