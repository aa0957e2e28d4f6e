"""Filters nobody can have. `alarms` knows an engine's rate, its rate after the fault, the services and every error;
`rate_of` knows all of that but the rate.

What it takes to see a doubling is the least anybody can take on the same log at the same false alarms; the program's
delay is told as a multiple of it. Equations: a Kalman filter of the level alone, every flight a possible moment of
change, a Shiryaev-Roberts sum of likelihood ratios.
"""

import math

REACH = 60          # flights back that a change may lie
NEVER = math.inf


def score(z, kind):
    """Slope and curvature of the log-likelihood of 'oil added' or 'none added', z above the mark."""
    density = math.exp(-0.5 * z * z) / math.sqrt(2 * math.pi)
    above = 0.5 * math.erfc(-z / math.sqrt(2))
    if kind == "added":
        hazard = density / max(1 - above, 1e-12)
        return -hazard, hazard * (hazard - z)
    hazard, real = density / above, 0.96 * above / (0.96 * above + 0.04)
    return real * hazard, max(0.0, real * hazard * (hazard + z) - real * (1 - real) * hazard * hazard)


def look(case, seen, level, var):
    """Slope and curvature of the log-likelihood in the level of what was seen before a flight."""
    refilled, reading, added = seen
    if case.kind == "levels" and reading is not None:
        dip = math.hypot(case.noise, 0.072) * 1.1   # the step of the dipstick, and some gross errors
        total = var + dip * dip
        off = max(-3 * math.sqrt(total), min(3 * math.sqrt(total), reading - level))
        return off / total, 1 / total
    if case.kind != "flights" or refilled:
        return 0.0, 0.0
    sd = math.sqrt(var + case.noise**2 + 0.2**2)
    if added >= 1.5:
        off = max(-2.5 * sd, min(2.5 * sd, case.mark - 1.1 - level))
        return off / sd**2, 1 / sd**2
    z = max(-8.0, min(3.0 if added else 8.0, (level - case.mark) / sd))
    slope, weight = score(z, "added" if added else "none")
    return slope / sd, weight / sd**2


def alarms(life, limit, after=0.0):
    """Engine hours, by the last flight before it, at which the filter for a change by the case's ratio says so; it
    starts anew after each. Judging begins after six quarts, and `after` so many hours."""
    case, sump = life.case, life.sumps[0]
    ratio = case.ratio if case.ratio > 1 else 2.0
    level, var, seen_qt, out = case.fill, case.refill**2, 0.0, []
    changes = []                                    # [moved, d, J, rate]
    for i, flight in enumerate(life.flights[: len(sump.seen)]):
        refilled, _, added = sump.seen[i]
        before = flight.after - flight.hours
        normal = sump.rates[i] / (case.ratio if before >= case.fault[0] else 1.0)
        if refilled:
            level, var = case.fill, case.refill**2
            for c in changes:
                c[0] = 0.0
        slope, weight = look(case, sump.seen[i], level, var)
        if weight:
            total = 0.0
            for c in changes:
                moved = c[0]
                c[1] += moved * slope
                c[2] += moved * moved * weight
                c[0] -= var * weight * moved
                shift = (ratio - 1) * c[3]
                total += math.exp(min(50.0, shift * c[1] - 0.5 * shift * shift * c[2]))
            level += var * slope
            var -= weight * var * var
            if seen_qt >= 6 and before >= after and total >= math.exp(limit):
                out.append(before)
                changes = []
        level += added
        changes = changes[-REACH + 1 :] + [[0.0, 0.0, 0.0, normal]]
        used = flight.hours * life.factors[flight.service]
        for c in changes:
            c[0] -= used
        level -= normal * used
        seen_qt += normal * used
        var += (case.spread * normal * used) ** 2 + 1e-4
    return out


def rate_of(life, unlogged):
    """The rate it believes at the end of the log, for a share of additions that nobody logs, qt/h."""
    case, sump = life.case, life.sumps[0]
    level, rate, var, both, rate_var = case.fill, 0.125, case.refill**2, 0.0, 0.15**2
    for seen, flight in zip(sump.seen, life.flights):
        if seen[0]:
            level, var, both = case.fill, case.refill**2, 0.0
        slope, weight = look(case, seen, level, var)
        level, rate = level + var * slope, rate + both * slope
        rate_var -= weight * both * both
        var, both = var - weight * var * var, both - weight * var * both
        hours = flight.hours * life.factors[flight.service]
        level += seen[2] - rate * hours
        var += hours * hours * rate_var - 2 * hours * both + (case.spread * rate * hours) ** 2 + 1e-4
        both -= hours * rate_var
    return rate / (1 - unlogged)


def limit_for(lives, per_1000_h):
    """The limit at which it raises so many false alarms per 1000 h on healthy engines."""
    hours = sum(life.flights[-1].after for life in lives)
    low, high = 2.0, 14.0
    for _ in range(7):
        middle = (low + high) / 2
        found = sum(len(alarms(life, middle)) for life in lives)
        low, high = (middle, high) if 1000 * found / hours > per_1000_h else (low, middle)
    return high
