"""From a job to arrays: the sheet of readings, and the ways in which the measurement may be bad."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from backprobe.core.inference.black_lead import LeadKind
from backprobe.core.inference.readings import BY_METER
from backprobe.core.inference.sheet import Quantity, Sheet, SheetRound
from backprobe.families.schema import STATES
from backprobe.job import Indication, Job, Round
from backprobe.services.accuracy import common_offset, common_share, standard_uncertainty
from backprobe.vocabulary import BATTERY_NEGATIVE, ROLES, SCAN_NAMES

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

RAISED_FROM_RPM = 1300.0
DIAGRAM_RIGHT = 0.92  # probability that a diagram shows the role a wire has (common practice)
AMBIENT_CELSIUS = 2.0  # how well a sensing element's temperature is known, degC
REPORTED_CELSIUS = 1.0
REPORTED_VOLT = 0.02

# Prior probability that a round is not what it says: common practice, no source.
BAD_LEAD = 0.02  # on battery negative itself
BAD_LEAD_ELSEWHERE = 0.06
BAD_LEAD_REPEATED = 0.5  # a second round on the same point as a bad one
KEY_NOT_ON = 0.006
# A check that agrees with the battery to this clears the lead. One meter read both, so most of its
# error cancels: a few digits and what the battery moves in between are left (common practice).
LEAD_CHECK_VOLT, LEAD_CHECK_SHARE = 0.05, 0.002
SMALLEST_CHECK_VOLT = 2.0  # below it a check tells nothing of a gain
LEAD_FAILS_AT = 2.5  # times that, it is bad
OFF_BELOW_VOLT, OFF_ABOVE_VOLT = 1.0, 9.0

# Stands in where there is no round yet, so that the priors can be told.
NOTHING_READ = SheetRound("", plugged=False, powered=True, state=0, state_high=0)
_AT_TERMINAL = {
    "volts": Quantity.VOLTS,
    "volts_high": Quantity.VOLTS_HIGH,
    "volts_low": Quantity.VOLTS_LOW,
    "level_high": Quantity.LEVEL_HIGH,
    "level_low": Quantity.LEVEL_LOW,
    "volts_ac": Quantity.VOLTS_AC,
    "hertz": Quantity.HERTZ,
    "duty_percent": Quantity.DUTY,
    "volts_loaded": Quantity.VOLTS_LOADED,
    "harness_ohms": Quantity.HARNESS_OHM,
}
UNIT_DENSITY = 0.375  # deviation at which Student's t has a density of one where nothing is off
# Control-unit values that speak of a wire's volts; families say of which wire.
_REPORTED = (
    "intake air temperature",
    "coolant temperature",
    "air mass flow",
    "manifold pressure",
    "throttle position",
)


@dataclass(frozen=True, slots=True)
class Condition:
    """One way in which the measurement may have been: its sheet and its log prior.

    bad_lead, key_off : numbers of the rounds that it calls bad.
    wanders : whether bad black leads are another at each reading.
    """

    sheet: Sheet
    log_prior: float
    bad_lead: tuple[int, ...] = ()
    key_off: tuple[int, ...] = ()
    wanders: bool = False

    @property
    def bad_rounds(self) -> tuple[int, ...]:
        """Rounds whose measurement is not what the file says."""
        return self.bad_lead + self.key_off

    @property
    def lead_kind(self) -> NDArray[np.int64]:
        """`LeadKind` of each round, (R,)."""
        bad = LeadKind.WANDERING if self.wanders else LeadKind.STEADY
        is_bad = np.isin(np.arange(len(self.sheet.rounds)), self.bad_lead)
        return np.where(is_bad, int(bad), int(LeadKind.SOUND))


@dataclass(frozen=True, slots=True)
class Problem:
    """A job as `core` sees it: the conditions, the plain one first."""

    job: Job
    rounds: tuple[Round, ...]
    conditions: tuple[Condition, ...]

    @property
    def verdict(self) -> IntArray:
        """Number of the first condition that calls the same rounds bad, (n_condition,)."""
        said = [(c.bad_lead, c.key_off) for c in self.conditions]
        return np.array([said.index(one) for one in said], dtype=np.int64)

    @property
    def sheet(self) -> Sheet:
        """The sheet taken at its word."""
        return self.conditions[0].sheet


def problem_of(job: Job) -> Problem:
    """Turn a job into arrays; void rounds are left out."""
    rounds = tuple(r for r in job.rounds if not r.void)
    sheet = _sheet(job, rounds)
    return Problem(job, rounds, tuple(_conditions(sheet, rounds)))


def _sheet(job: Job, rounds: tuple[Round, ...]) -> Sheet:
    pins = [t.pin for t in job.connector.terminals]
    rows = [row for index, r in enumerate(rounds) for row in _readings(job, r, index, pins)]
    points = list(dict.fromkeys(_point(r) for r in rounds))
    diagram = np.zeros((len(pins), len(ROLES)))
    for i, terminal in enumerate(job.connector.terminals):
        if terminal.diagram:
            diagram[i] = np.log((1.0 - DIAGRAM_RIGHT) / (len(ROLES) - 1))
            diagram[i, ROLES.index(terminal.diagram)] = np.log(DIAGRAM_RIGHT)
    return Sheet(
        rounds=tuple(_round(r, pins, points) for r in rounds) or (NOTHING_READ,),
        n_terminal=len(pins),
        quantity=np.array([int(r.quantity) for r in rows], dtype=np.int64),
        round=np.array([r.round for r in rows], dtype=np.int64),
        terminal=np.array([r.terminal for r in rows], dtype=np.int64),
        other=np.array([r.other for r in rows], dtype=np.int64),
        value=np.array([r.value for r in rows], dtype=np.float64),
        deviation=np.array([r.deviation for r in rows], dtype=np.float64),
        load_ohm=np.array([r.load for r in rows], dtype=np.float64),
        reported=np.array([r.reported for r in rows], dtype=np.int64),
        label=tuple(r.label for r in rows),
        input_ohm=job.meter.input_resistance,
        role_log=diagram,
        meter_share=common_share(job.meter),
        range_number=np.array([r.meter_range[0] for r in rows], dtype=np.int64),
        range_volt=np.array([r.meter_range[1] for r in rows], dtype=np.float64),
    )


def _point(r: Round) -> str:
    return r.black_lead.strip().lower()


def _round(r: Round, pins: list[str], points: list[str]) -> SheetRound:
    low, high = state_of(r.key, r.rpm, r.action)

    def place(end: str) -> int:
        return -1 if end == BATTERY_NEGATIVE else pins.index(end)

    return SheetRound(
        name=r.name,
        plugged=r.plugged,
        powered=r.key != "off",
        state=STATES.index(low),
        state_high=STATES.index(high),
        point=points.index(_point(r)),
        fitted=tuple((place(f.start), place(f.end), f.ohms) for f in r.fitted),
    )


def state_of(key: str, rpm: float, action: str) -> tuple[str, str]:
    """State of the driven quantities in a round, as the two ends that it spans."""
    if key == "run" and action == "snap throttle":
        return "snap-low", "snap-high"
    if action == "sweep":
        return "sweep-low", "sweep-high"
    if key == "crank":
        return "crank", "crank"
    if key == "run":
        state = "raised" if rpm >= RAISED_FROM_RPM else "idle"
        return state, state
    return "key-on", "key-on"


@dataclass(frozen=True, slots=True)
class _Row:
    quantity: Quantity
    round: int
    label: str
    value: float
    deviation: float
    terminal: int = -1
    other: int = -1
    load: float = 1000.0
    reported: int = -1
    meter_range: tuple[int, float] = (0, 0.0)


def _readings(job: Job, r: Round, index: int, pins: list[str]) -> Iterator[_Row]:
    meter = job.meter
    for key, quantity in _AT_TERMINAL.items():
        readings: Mapping[str, Indication] = getattr(r, key)
        for pin, indication in readings.items():
            scale = 0.01 if quantity == Quantity.DUTY else 1.0
            deviation = standard_uncertainty(meter, key, indication)
            value = np.inf if indication.over_range else indication.value
            if quantity == Quantity.HERTZ and value <= 0:
                value = np.inf  # a meter that counts nothing shows 0 or a dash
            yield _Row(
                quantity,
                index,
                f"{r.name} {key} {pin}",
                value * scale,
                deviation * scale,
                terminal=pins.index(pin),
                load=r.load_ohms,
                meter_range=common_offset(meter, indication),
            )
    for (a, b), indication in r.sensor_ohms.items():
        yield _Row(
            Quantity.SENSOR_OHM,
            index,
            f"{r.name} sensor_ohms {a}-{b}",
            np.inf if indication.over_range else indication.value,
            standard_uncertainty(meter, "sensor_ohms", indication),
            terminal=pins.index(a),
            other=pins.index(b),
        )
    yield from _of_round(job, r, index)


def _of_round(job: Job, r: Round, index: int) -> Iterator[_Row]:
    for key, quantity in (
        ("battery_volts", Quantity.BATTERY),
        ("black_lead_check", Quantity.LEAD_CHECK),
    ):
        indication: Indication | None = getattr(r, key)
        if indication is not None and not indication.over_range:
            deviation = standard_uncertainty(job.meter, key, indication)
            yield _Row(
                quantity,
                index,
                f"{r.name} {key}",
                indication.value,
                deviation,
                meter_range=common_offset(job.meter, indication),
            )
    if r.ambient_celsius is not None:
        label = f"{r.name} ambient_celsius"
        yield _Row(Quantity.AMBIENT, index, label, r.ambient_celsius, AMBIENT_CELSIUS)
    for name, indication in r.scan.items():
        label, base = f"{r.name} scan {name}", name.removesuffix(" volts").removesuffix(" hertz")
        reported = SCAN_NAMES.index(base) if base in _REPORTED else -1
        if name == "control unit supply":
            yield _Row(Quantity.BATTERY, index, label, indication.value, 0.25)
        elif reported >= 0 and name.endswith(" volts"):
            yield _Row(
                Quantity.INPUT_VOLTS,
                index,
                label,
                indication.value,
                REPORTED_VOLT,
                reported=reported,
            )
        elif name in ("intake air temperature", "coolant temperature"):
            yield _Row(
                Quantity.INPUT_CELSIUS,
                index,
                label,
                indication.value,
                REPORTED_CELSIUS,
                reported=reported,
            )
        elif reported >= 0:
            yield _Row(Quantity.REPORTED, index, label, 0.0, UNIT_DENSITY, reported=reported)


def _conditions(sheet: Sheet, rounds: tuple[Round, ...]) -> Iterator[Condition]:
    """The sheet as it stands, then with bad black leads, then with the key not on.

    Black leads are bad in one way in all rounds, wandering or steady, each as likely as the other.
    """
    prior = [BAD_LEAD if r.black_lead == BATTERY_NEGATIVE else BAD_LEAD_ELSEWHERE for r in rounds]
    sound = float(np.sum(np.log1p(-np.array(prior)))) if rounds else 0.0
    yield Condition(sheet, sound)
    for which in _bad_leads(rounds):
        log_prior = sound + _log_odds(rounds, prior, which) - np.log(2.0)
        yield Condition(sheet, log_prior, which, wanders=True)
        yield Condition(sheet, log_prior, which)
    for i, r in enumerate(rounds):
        if r.key == "on" and _may_be_off(r):
            changed = replace(sheet.rounds[i], powered=False)
            some = (*sheet.rounds[:i], changed, *sheet.rounds[i + 1 :])
            off = sound + float(np.log(KEY_NOT_ON))
            yield Condition(replace(sheet, rounds=some), off, key_off=(i,))


def _bad_leads(rounds: tuple[Round, ...]) -> list[tuple[int, ...]]:
    """Sets of rounds that may have been behind a bad black lead.

    Rounds whose check fails are bad together (a sound lead can't fail it but by a slip of the
    pen); beside them each doubtful round, and all doubtful rounds on one point.
    """
    doubtful = [i for i, r in enumerate(rounds) if _lead_fails(r) or _may_be_bad(r)]
    failed = {i for i in doubtful if _lead_fails(rounds[i])}
    sets = [failed] if failed else []
    sets += [failed | {i} for i in doubtful]
    sets += [failed | set(group) for group in _same_point(rounds, doubtful)]
    return list(dict.fromkeys(tuple(sorted(s)) for s in sets))


def _log_odds(rounds: tuple[Round, ...], prior: list[float], which: tuple[int, ...]) -> float:
    """Log of how likely these leads are bad against sound; a point that is bad may stay so."""
    total, seen = 0.0, set()
    for i in which:
        point = _point(rounds[i])
        share = BAD_LEAD_REPEATED if point in seen else prior[i]
        total += float(np.log(share) - np.log1p(-prior[i]))
        seen.add(point)
    return total


def lead_gap(r: Round) -> tuple[float, float] | None:
    """What is missing between check and battery, and what a sound lead may miss; None: unread."""
    if r.battery_volts is None or r.black_lead_check is None:
        return None
    battery, check = r.battery_volts.value, r.black_lead_check.value
    return abs(battery - check), lead_tolerance(battery)


def lead_tolerance(battery: float) -> float:
    """What the check of a sound black lead may miss of the battery's volts, V."""
    return LEAD_CHECK_VOLT + LEAD_CHECK_SHARE * abs(battery)


def corrected_sheets(sheet: Sheet, rounds: tuple[int, ...]) -> list[Sheet]:
    """A sheet with what the checks of some rounds miss put back: as an offset, and as a gain.

    Empty without rounds, and where a check or a battery reading is missing. No explanation is
    judged by these values; they only suggest where to look.
    """
    if not rounds:
        return []
    shift, gain = np.zeros(len(sheet.rounds)), np.ones(len(sheet.rounds))
    for r in rounds:
        battery = sheet.value[(sheet.quantity == Quantity.BATTERY) & (sheet.round == r)]
        check = sheet.value[(sheet.quantity == Quantity.LEAD_CHECK) & (sheet.round == r)]
        if not battery.size or not check.size or check[0] < SMALLEST_CHECK_VOLT:
            return []
        shift[r], gain[r] = battery[0] - check[0], battery[0] / check[0]
    behind = np.isin(sheet.quantity, [int(q) for q in BY_METER if q != Quantity.BATTERY])
    behind &= np.isin(sheet.round, rounds)
    doubt = sheet.deviation + 0.5 * np.abs(shift[sheet.round])
    return [
        replace(
            sheet,
            value=np.where(behind, value, sheet.value),
            deviation=np.where(behind, doubt, sheet.deviation),
        )
        for value in (sheet.value + shift[sheet.round], sheet.value * gain[sheet.round])
    ]


def _may_be_bad(r: Round) -> bool:
    """Whether volts were read in a round by a lead that no check shows to be sound."""
    return _has_volts(r) and not _lead_holds(r)


def _lead_holds(r: Round) -> bool:
    """Whether the check of the black lead's point against the battery posts shows it sound."""
    gap = lead_gap(r)
    return gap is not None and gap[0] < gap[1]


def _lead_fails(r: Round) -> bool:
    """Whether the check shows a bad point beyond what a meter may be off."""
    gap = lead_gap(r)
    return gap is not None and gap[0] > LEAD_FAILS_AT * gap[1]


def _may_be_off(r: Round) -> bool:
    """Whether a round reads as with the key off: nothing between ground and battery voltage."""
    shown = [abs(i.value) for i in r.volts.values() if not i.over_range]
    return bool(shown) and all(v < OFF_BELOW_VOLT or v > OFF_ABOVE_VOLT for v in shown)


def _has_volts(r: Round) -> bool:
    kinds = (r.volts, r.volts_loaded, r.volts_high, r.volts_low, r.level_high, r.level_low)
    return r.key != "off" and any(kinds)


def _same_point(rounds: tuple[Round, ...], powered: list[int]) -> Iterator[tuple[int, ...]]:
    """Groups of two or more rounds whose black lead was on one point."""
    points: dict[str, list[int]] = {}
    for i in powered:
        points.setdefault(_point(rounds[i]), []).append(i)
    for group in points.values():
        if len(group) > 1:
            yield tuple(group)
