"""Engines, pilots and what they write down: logbooks with a known truth, for measuring detection from outside.

A second simulator, written from the description of realistic logs and sharing nothing with `tests/sim`: that one
calls the judge and was at hand while the judge was made, so only another one tells whether the figures hold.
Common practice, no source, for every figure below: 0.25 qt dipstick noise, 3 % gross errors, 25 % more or less by
service, 4 % of additions not logged, 1 % of hours mis-keyed, 0.3 qt refill error, a drain every 50 h, wear.
Standard library only; the same seed gives the same bytes.
"""

import math
import random
from dataclasses import dataclass, field
from datetime import datetime, timedelta

KINDS = ("levels", "flights", "additions")
RATES = (1 / 20, 1 / 12, 1 / 8, 1 / 5, 1 / 3)
COLUMNS = "date,time,engine,hours,entry,quantity,level,oil,flight_hours,service,result,remarks"
START = datetime(2018, 3, 5, 8, 0)


@dataclass
class Case:
    """What is simulated; the defaults are the realistic scenario at 8 h/qt. Hours are engine hours, rates qt/h."""

    kind: str = "levels"
    rate: float = 0.125
    hours: float = 1000.0
    quarts: float = math.inf          # the log ends once so much was burnt
    ratio: float = 1.0                # of the rate from the fault on
    fault: tuple = (math.inf, math.inf)   # engine hours between which the fault falls
    readings: float = 0.95            # share of flights with a reading, where readings are logged
    noise: float = 0.25
    gross: float = 0.03
    spread: float = 0.30              # from flight to flight, of the rate
    service: float = 0.25             # half the difference between services, of the mean
    service_logged: bool = True
    unlogged: float = 0.04
    miskeyed: float = 0.01
    refill: float = 0.3
    refills_unlogged: float = 0.0
    wear: float = 2e-4                # greatest, of the rate per hour; each engine has its own
    seating: tuple = None             # excess at the build and its time constant, hours
    twin: bool = False
    mark_told: bool = True
    fill: float = 7.0
    mark: float = 6.0


@dataclass
class Flight:
    off: datetime
    on: datetime
    hours: float
    after: float                      # engine hours at its end
    service: int


@dataclass
class Sump:
    """One engine: its truth, and what was seen of it before each flight."""

    position: str
    rates: list = field(default_factory=list)     # true rate over the mean mix of services
    seen: list = field(default_factory=list)      # (refilled and logged, reading or None, quarts logged)
    burnt: float = 0.0


@dataclass
class Life:
    """One aircraft: what flew, what is true, and its files."""

    tail: str
    case: Case
    flights: list
    sumps: list
    factors: list
    onset: datetime = None            # departure of the first flight with the fault
    onset_h: float = math.inf
    files: dict = field(default_factory=dict)

    def flown_at(self, moment):
        """Engine hours flown in flights that had ended by a moment of the fleet's local time."""
        return max((f.after for f in self.flights if f.on <= moment), default=0.0)


SERVICES = ("charter", "training", "survey")


def schedule(case, dice):
    """Flights of varying length; one service follows itself for a while, as bookings and courses do."""
    at, flown, service, out = START, 0.0, dice.randrange(2), []
    while flown < case.hours:
        if dice.random() < 0.06:
            service = dice.randrange(3)
        usual = (1.3, 0.75, 1.5)[service]
        hours = round(min(4.0, max(0.3, dice.lognormvariate(math.log(usual), 0.35))), 1)
        off = at + timedelta(minutes=dice.randrange(0, 50))
        on = off + timedelta(minutes=round(hours * 60) + 12)
        flown = round(flown + hours, 1)
        out.append(Flight(off, on, hours, flown, service))
        same_day = on.hour < 15 and dice.random() < 0.5
        days = 0 if same_day else dice.choice((1, 1, 1, 2, 2, 3, 5))
        at = on + timedelta(minutes=60) if same_day else on.replace(hour=8, minute=0) + timedelta(days=days)
    return out


def factors(case, flights):
    """Consumption by service, of its mean over the hours flown."""
    raw = (1 + case.service, 1 - case.service, 1.0)
    mean = sum(raw[f.service] * f.hours for f in flights) / sum(f.hours for f in flights)
    return [r / mean for r in raw]


@dataclass
class Pilot:
    mark: float       # adds below this reading
    step: float       # reads to this fraction of a quart
    halves: float     # how often half a quart is enough
    generous: float   # how often two are poured well below the mark


def crew(case, dice):
    marks = [case.mark + dice.gauss(0, 0.2) for _ in range(4)]
    return [Pilot(m, 0.25, dice.choice((0.0, 0.1)), dice.choice((0.3, 0.8))) for m in marks]


def look(case, pilot, level, dice):
    """What a pilot believes, writes down, and pours."""
    believed = level + dice.gauss(0, case.noise)
    slip = dice.choice((-1, 1)) * dice.uniform(0.7, 2.0) if dice.random() < case.gross else 0.0
    misread = slip and dice.random() < 0.5
    believed += slip if misread else 0.0
    written = max(0.0, round((believed + (0.0 if misread else slip)) / pilot.step) * pilot.step)
    below = pilot.mark - believed
    poured = 0.0
    if below > 0:
        poured = 2.0 if below > 0.8 and dice.random() < pilot.generous else 0.5 if dice.random() < pilot.halves else 1.0
    return written, poured


def run(case, flights, by, position, dice):
    """Flies one engine through its flights; stops early where enough was burnt."""
    sump, level, since = Sump(position), case.fill + dice.gauss(0, case.refill), 0.0
    wear, pilots = dice.uniform(0, case.wear), crew(case, dice)
    drains = [5.0, 25.0, 50.0] if case.seating else []
    before = 0.0
    for flight in flights:
        due = drains and before >= drains[0] or not drains and since >= 50.0
        refilled = False
        if due:
            drains, since = drains[1:], 0.0
            level = case.fill + dice.gauss(0, case.refill)
            refilled = dice.random() >= case.refills_unlogged
        reading, poured = look(case, dice.choice(pilots), level, dice)
        if due:
            reading, poured = None, 0.0
        level += poured
        logged = 0.0 if dice.random() < case.unlogged else poured
        if dice.random() >= case.readings and not logged:
            reading = None
        sump.seen.append((refilled, reading, logged))
        excess = case.seating[0] * math.exp(-(before + flight.hours / 2) / case.seating[1]) if case.seating else 0.0
        true = case.rate * (1 + excess) * (1 + wear * before) * (case.ratio if before >= case.fault[0] else 1)
        sigma = math.sqrt(math.log(1 + case.spread**2))
        used = true * by[flight.service] * flight.hours * dice.lognormvariate(-sigma * sigma / 2, sigma)
        level -= used
        sump.burnt += used
        sump.rates.append(true)
        since += flight.hours
        before = flight.after
        if sump.burnt >= case.quarts:
            break
    return sump


def miskey(hours, dice):
    """A meter reading with a slip of the pen: two neighbours swapped, a digit wrong, a digit of tens off."""
    digits = list(f"{hours:.1f}")
    places = [i for i, c in enumerate(digits) if c.isdigit() and i > 0]
    i = dice.choice(places)
    if dice.random() < 0.4 and digits[i - 1].isdigit() and digits[i - 1] != digits[i]:
        digits[i - 1], digits[i] = digits[i], digits[i - 1]
    else:
        digits[i] = str((int(digits[i]) + dice.randrange(1, 10)) % 10)
    return float("".join(digits))


def logbook(life, meter, dice):
    """The rows in the standard layout."""
    case, rows = life.case, [COLUMNS]

    def row(at, engine, hours, entry, quantity="", level="", oil="", flown="", service=""):
        shown = "" if level == "" else f"{level:g}"
        rows.append(f"{at:%Y-%m-%d},{at:%H:%M},{engine},{hours:.1f},{entry},{quantity},{shown},{oil},{flown},{service},,")

    for i, f in enumerate(life.flights):
        before = meter + f.after - f.hours
        at = f.off - timedelta(minutes=15)
        for s in life.sumps:
            refilled, reading, added = s.seen[i]
            written = miskey(before, dice) if case.kind == "additions" and dice.random() < case.miskeyed else before
            shown = "" if case.kind != "levels" or reading is None else reading
            if refilled:
                row(at - timedelta(minutes=30), s.position, written, "oil-changed", oil="AD 50")
            if added:
                row(at, s.position, written, "oil-added", f"{added:g}", shown, "AD 50")
            elif shown != "":
                row(at, s.position, written, "oil-level", level=shown)
        if case.kind != "additions":
            read, flown = meter + f.after, f.hours
            if dice.random() < case.miskeyed:
                if dice.random() < 0.75:
                    read = miskey(read, dice)
                else:
                    flown = round(flown * dice.choice((0.1, 10.0)), 2) if dice.random() < 0.3 else flown + 1
            word = SERVICES[f.service] if case.service_logged else ""
            row(f.on, "", read, "flight", flown=f"{flown:g}", service=word)
    return "\n".join(rows) + "\n"


def aircraft(life, meter):
    case = life.case
    since = 0.0 if case.seating else 700.0
    text = f'tail = "{life.tail}"\nmeter = "tach"\noil_unit = "qt"\nmeter_at_start = {meter:.1f}\n'
    for s in life.sumps:
        text += "\n[[engine]]\n" + (f'position = "{s.position}"\n' if s.position else "")
        text += f'serial = "S-{life.tail}{s.position[:1].upper()}"\nmodel = "F6-300"\nhours_at_start = {since + 400:.1f}\n'
        text += f'since = "overhaul"\nhours_since = {since:.1f}\noil = "AD 50"\nlast_oil_change_h = 0.0\n'
        text += f"fill_qt = {case.fill}\n" + (f"add_mark_qt = {case.mark}\n" if case.mark_told else "")
    return text


def live(case, tail, seed):
    """One aircraft's life and files. Flights, each engine and the pen have dice of their own, so that two cases
    that differ in one respect are alike in the rest."""
    dice = {what: random.Random(f"{seed}/{what}") for what in ("plan", "left", "right", "pen", "fault")}
    case = Case(**{**case.__dict__})
    if case.fault[0] < math.inf:
        start = dice["fault"].uniform(*case.fault)
        case.fault = (start, start)
        case.hours = start + 60.0
    flights = schedule(case, dice["plan"])
    by = factors(case, flights)
    healthy = Case(**{**case.__dict__, "fault": (math.inf, math.inf)})
    sumps = [run(case, flights, by, "left" if case.twin else "", dice["left"])]
    sumps += [run(healthy, flights, by, "right", dice["right"])] if case.twin else []
    flights = flights[: len(sumps[0].seen)]
    life = Life(tail, case, flights, sumps, by)
    for f in flights:
        if f.after - f.hours >= case.fault[0]:
            life.onset, life.onset_h = f.off, round(f.after - f.hours, 1)
            break
    meter = round(dice["pen"].uniform(300, 4000), 1)
    life.files = {"aircraft.toml": aircraft(life, meter), "logbook.csv": logbook(life, meter, dice["pen"])}
    return life
