#!/usr/bin/env python3
"""How well a rate can be known from a log at all: the posterior of the rate under the very laws by which `pilots.py`
makes the log, with hours, services and every habit but the pilots' own marks known. No program can do better by more
than it knows beforehand of the rate itself.

    tests/tools/exact.py KIND QUARTS ENGINES SEED        kind: levels or flights; needs numpy

A grid over the rate; for each, particles over the level and over how far this crew's marks lie from the usual one (a
bootstrap particle filter, Gordon, Salmond and Smith 1993, IEE Proceedings F 140, from memory). Same logs as
`front_door.py` takes for its error of the rate.
"""

import math
import sys
from concurrent.futures import ProcessPoolExecutor

import known
import numpy as np
from front_door import UNLOGGED, lives
from pilots import Case

RATES = np.exp(np.linspace(math.log(0.05), math.log(0.32), 49))
PARTICLES = 500
CREW_SD, PILOT_SD = 0.1, 0.173     # of four marks with sd 0.2: their mean, and each about it
TWO, HALF = 0.55, 0.05             # shares of two quarts well below the mark, and of half a quart, over pilots
SLIP, STEP = (0.7, 2.0), 0.25
IMPOSSIBLE = 1e-6
STEPS = np.linspace(-6, 6, 2401)
TABLE = np.array([0.5 * math.erfc(-z / math.sqrt(2)) for z in STEPS])


def cdf(z):
    return np.interp(z, STEPS, TABLE)


def believed(case, reading, level, dice):
    """What the pilot took the level for, and the likelihood of what was written down."""
    off = level + case.noise * dice.standard_normal(level.shape)
    if reading is None:
        slips = dice.random(level.shape) < case.gross / 2
        slip = dice.uniform(*SLIP, level.shape) * dice.choice((-1, 1), level.shape)
        return off + slips * slip, np.ones(level.shape)
    read = reading + STEP * (dice.random(level.shape) - 0.5)
    density = np.exp(-0.5 * ((read - level) / case.noise) ** 2) / (case.noise * math.sqrt(2 * math.pi))
    apart = np.abs(reading - level)
    slipped = (cdf((apart - SLIP[0]) / case.noise) - cdf((apart - SLIP[1]) / case.noise)) / (2 * (SLIP[1] - SLIP[0]))
    right, wrong = (1 - case.gross) * STEP * density, case.gross * STEP * slipped
    total = right + wrong
    # Half of the slips are of the eye, and the pilot believes what is written; half are of the pen.
    eye = dice.random(level.shape) * total < right + wrong / 2
    return np.where(eye, read, off), total


def poured(case, logged, below, dice):
    """Likelihood of what the log says was added, and what was."""
    short = below > 0
    two = np.where(below > 0.8, TWO, 0.0)
    if logged:
        of = {2.0: two, 1.0: (1 - two) * (1 - HALF), 0.5: (1 - two) * HALF}[logged]
        likely = np.where(short, np.maximum(of * (1 - case.unlogged), IMPOSSIBLE), IMPOSSIBLE)
        return likely, np.full(below.shape, logged)
    quarts = np.where(dice.random(below.shape) < two, 2.0, np.where(dice.random(below.shape) < HALF, 0.5, 1.0))
    return np.where(short, case.unlogged, 1.0), short * quarts


def drawn_again(weight, dice):
    """Which particle of its rate each particle becomes (systematic resampling)."""
    rates, n = weight.shape
    row = np.arange(rates)[:, None]
    at = (np.arange(n)[None, :] + dice.random((rates, 1))) / n
    cumulated = np.cumsum(weight, axis=1)
    cumulated /= cumulated[:, -1:]
    return np.searchsorted((cumulated + row).ravel(), (at + row).ravel()).reshape(rates, n).clip(max=rates * n - 1)


def posterior_error(life):
    """Relative error of the posterior mean, every ratio between rates as likely before."""
    case, sump, dice = life.case, life.sumps[0], np.random.default_rng(7)
    shape = (len(RATES), PARTICLES)

    def filled():
        return case.fill + case.refill * dice.standard_normal(shape)

    level, crew = filled(), CREW_SD * dice.standard_normal(shape)
    ln = np.zeros(len(RATES))
    sigma = math.sqrt(math.log(1 + case.spread**2))
    for (refilled, reading, logged), flight in zip(sump.seen, life.flights):
        if refilled:
            level = filled()
        else:
            took, likely = believed(case, reading if case.kind == "levels" else None, level, dice)
            below = case.mark + crew + PILOT_SD * dice.standard_normal(shape) - took
            log, quarts = poured(case, logged, below, dice)
            level, weight = level + quarts, likely * log + 1e-300
            ln += np.log(weight.mean(axis=1))
            which = drawn_again(weight, dice)
            level, crew = level.ravel()[which], crew.ravel()[which]
        used = RATES[:, None] * flight.hours * life.factors[flight.service]
        level = level - used * np.exp(sigma * dice.standard_normal(shape) - sigma**2 / 2)
    share = np.exp(ln - ln.max())
    return float((share * RATES).sum() / share.sum()) / sump.rates[-1] - 1


def main():
    kind, quarts, engines, seed = sys.argv[1], float(sys.argv[2]), int(sys.argv[3]), sys.argv[4]
    case = Case(kind=kind, quarts=quarts, hours=900.0)
    made = lives(case, engines, f"{seed}/{quarts:.0f} quarts")
    with ProcessPoolExecutor(2) as pool:
        exact = list(pool.map(posterior_error, made, chunksize=4))
    filtered = [known.rate_of(life, UNLOGGED[kind]) / life.sumps[0].rates[-1] - 1 for life in made]
    for what, errors in (("exact posterior", exact), ("filter that knows all but the rate", filtered)):
        rmse = math.sqrt(sum(e * e for e in errors) / engines)
        bias = 100 * sum(errors) / engines
        print(f"{kind} after {quarts:.0f} qt, {engines} engines: {what} errs by {100 * rmse:.1f} % (bias {bias:+.1f} %)")


if __name__ == "__main__":
    main()
