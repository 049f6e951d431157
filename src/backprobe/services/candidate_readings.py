"""Readings that could be taken next: every useful quantity in every state within reach.

Left out: what is already on the sheet in the same state, unless the round is not to be trusted;
a load or an ohmmeter on wires that may belong to a sensor that makes its own voltage and must not
be loaded; ohms across electronics, where an ohmmeter tells nothing.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from backprobe.core.inference.sheet import Quantity, SheetRound
from backprobe.families.schema import STATES, Family
from backprobe.job import Round
from backprobe.services.engine import Posterior
from backprobe.services.problem import RAISED_FROM_RPM, state_of
from backprobe.services.steps import State, reachable_state
from backprobe.services.summary import role_probabilities, trust
from backprobe.services.unavailable import Unavailable, rpm_class, state_key
from backprobe.vocabulary import BATTERY_NEGATIVE, ROLES

Array = NDArray[np.float64]

IDLE_RPM, RAISED_RPM = 800.0, 2500.0
SNAP = "snap throttle"
MAY_BE_CELL = 0.02  # probability from which on a wire is not loaded
MOST_WITHOUT_OHMS = 0.1  # probability of electronics across a pair that leaves ohms out
MOSTLY = 0.5
DOUBTED = 0.02  # probability of a bad black lead from which on its check is repeated

QUANTITY_CODE = {
    "volts": Quantity.VOLTS,
    "volts_high": Quantity.VOLTS_HIGH,
    "volts_low": Quantity.VOLTS_LOW,
    "volts_ac": Quantity.VOLTS_AC,
    "hertz": Quantity.HERTZ,
    "duty_percent": Quantity.DUTY,
    "volts_loaded": Quantity.VOLTS_LOADED,
    "harness_ohms": Quantity.HARNESS_OHM,
    "sensor_ohms": Quantity.SENSOR_OHM,
    "battery_volts": Quantity.BATTERY,
    "black_lead_check": Quantity.LEAD_CHECK,
    "ambient_celsius": Quantity.AMBIENT,
}
_MOVING = ("volts", "hertz", "duty_percent", "volts_ac")


@dataclass(frozen=True, slots=True)
class Setting:
    """A state within reach, and the round of the sheet that a reading in it would go on with."""

    state: State
    item: SheetRound
    continued: int | None = None


@dataclass(frozen=True, slots=True)
class Candidate:
    """One reading that could be taken.

    setting : its number among the settings; at, other : terminals, -1 where it has none.
    first : whether it has to be taken before the readings so far may be believed.
    again : round in the same state that is not to be believed, "" where there is none.
    """

    setting: int
    quantity: str
    at: int = -1
    other: int = -1
    first: bool = False
    again: str = ""


@dataclass(frozen=True, slots=True)
class Candidates:
    """Settings within reach and the readings in them; whether some can't be had."""

    settings: tuple[Setting, ...]
    readings: tuple[Candidate, ...]
    withheld: bool = False


def present_state(rounds: Sequence[Round]) -> State | None:
    """State that the last round left the vehicle in; None where there is none."""
    return _state(rounds[-1]) if rounds else None


def candidates_of(posterior: Posterior, without: Sequence[Unavailable] = ()) -> Candidates:
    """Everything that could be read next, settings without a reading left out.

    ``without`` are readings that can't be had.
    """
    listing = _Listing(posterior)
    settings: list[Setting] = []
    readings: list[Candidate] = []
    withheld = False
    for setting, every in listing.readings():
        found = [c for c in every if not listing.is_covered(setting, c, without)]
        withheld = withheld or len(found) < len(every)
        if not found:
            continue
        if setting not in settings:
            settings.append(setting)
        number = settings.index(setting)
        readings += [replace(c, setting=number) for c in found]
    return Candidates(tuple(settings), tuple(readings), withheld)


class _Listing:
    """What the sheet holds already, and what the wires may stand."""

    def __init__(self, posterior: Posterior) -> None:
        self.rounds = posterior.problem.rounds
        self.now = present_state(self.rounds)
        self.items = posterior.problem.sheet.rounds[: len(self.rounds)]
        self.pins = posterior.problem.job.connector.pins
        points = [i.point for r, i in zip(self.rounds, self.items, strict=True) if _on_battery(r)]
        self.on_battery = points[-1] if points else posterior.problem.sheet.n_point
        trusted = trust(posterior)
        self.lead = [trusted.lead[r.name] for r in self.rounds]
        self.sound = [trusted.rounds[r.name] >= MOSTLY for r in self.rounds]
        role = role_probabilities(posterior)
        generator = [k for k, name in enumerate(ROLES) if name.startswith("generator-")]
        self.live = role[:, generator].sum(axis=1) > MAY_BE_CELL
        self.share = _family_share(posterior)
        self.cell = _cell_share(posterior) > MAY_BE_CELL
        self.without_ohms = _share_without_ohms(posterior)
        self.has_celsius = _share_with_celsius(posterior) > MOSTLY

    def readings(self) -> Iterator[tuple[Setting, list[Candidate]]]:
        """Every setting with the readings that make sense in it, not yet numbered."""
        for setting, quantities in self.settings():
            found = [c for q in quantities for c in self.at_terminals(setting, q)]
            if not setting.state.plugged and setting.state.key == "off":
                found += self.across_sensor()
            yield setting, found
        for setting, quantity, first in self.of_rounds():
            yield setting, [Candidate(0, quantity, first=first)]

    def is_covered(
        self, setting: Setting, candidate: Candidate, without: Sequence[Unavailable]
    ) -> bool:
        """Whether a reading is one of those that can't be had."""
        if not without:
            return False
        goal = goal_of(self.now, setting, candidate.quantity)
        state = state_key(
            plugged=goal.plugged,
            key=goal.key,
            rpm_class=rpm_class(goal.key, goal.rpm),
            action=goal.action,
        )
        place = place_of(self.pins, candidate)
        return any(each.covers(candidate.quantity, place, state) for each in without)

    def settings(self) -> Iterator[tuple[Setting, tuple[str, ...]]]:
        """Every state within reach, with the quantities at terminals that make sense in it."""
        yield self._setting(State(plugged=False, key="on")), ("volts", "volts_loaded")
        yield self._setting(State(plugged=True, key="on")), _MOVING
        yield self._setting(State(plugged=True, key="run", rpm=self._idle_rpm())), _MOVING
        running = bool(self.rounds) and self.rounds[-1].key == "run"
        if running:  # idle comes before more, and costs less
            yield self._setting(State(plugged=True, key="run", rpm=self._raised_rpm())), _MOVING
        if running and self._share_of_snapping() > MOSTLY:
            snap = State(plugged=True, key="run", rpm=self._idle_rpm(), action=SNAP)
            yield self._setting(snap), ("volts_high", "volts_low")
        yield self._setting(State(plugged=False, key="off")), ("volts", "harness_ohms")

    def _setting(self, state: State) -> Setting:
        """The state as a round; it goes on with the last sound round in the same state."""
        low, high = state_of(state.key, state.rpm, state.action)
        item = SheetRound(
            name="",
            plugged=state.plugged,
            powered=state.key != "off",
            state=STATES.index(low),
            state_high=STATES.index(high),
            point=self.on_battery,
        )
        same = [i for i in self._rounds_like(item) if self.sound[i]]
        if not same:
            return Setting(state, item)
        return Setting(state, replace(item, point=self.items[same[-1]].point), same[-1])

    def _rounds_like(self, item: SheetRound) -> list[int]:
        """Rounds in the same state, wherever the black lead was."""
        return [
            i
            for i, known in enumerate(self.items)
            if replace(known, name=item.name, point=item.point) == item
        ]

    def at_terminals(self, setting: Setting, quantity: str) -> Iterator[Candidate]:
        """A quantity at each terminal where it was not read yet and does no harm."""
        like = self._rounds_like(setting.item)
        taken = {pin for i in like if self.sound[i] for pin in getattr(self.rounds[i], quantity)}
        bad = like and setting.continued is None and quantity == "volts"
        again = self.rounds[like[-1]].name if bad else ""
        for t, pin in enumerate(self.pins):
            if pin not in taken and not (quantity == "volts_loaded" and self.live[t]):
                yield Candidate(0, quantity, t, again=again)

    def across_sensor(self) -> Iterator[Candidate]:
        """Ohms between two terminals of the lone sensor, where an ohmmeter may and can tell."""
        taken = {frozenset(pair) for r in self.rounds for pair in r.sensor_ohms}
        for a, b in combinations(range(len(self.pins)), 2):
            allowed = not (self.cell[a] or self.cell[b])
            tells = self.without_ohms[a, b] <= MOST_WITHOUT_OHMS
            if allowed and tells and frozenset((self.pins[a], self.pins[b])) not in taken:
                yield Candidate(0, "sensor_ohms", a, b)

    def of_rounds(self) -> Iterator[tuple[Setting, str, bool]]:
        """Battery, black lead and temperature, where they are missing or the lead is in doubt.

        A check of the black lead speaks of the round that it is taken in, with the lead left on
        that round's point.
        """
        last = len(self.rounds) - 1
        known = any(r.ambient_celsius is not None for r in self.rounds)
        for i, r in enumerate(self.rounds):
            item = replace(self.items[i], name="")
            if self._rounds_like(item)[-1] != i or (r.key == "off" and i != last):
                continue  # a later round in the same state speaks for it, or nothing can be told
            setting = Setting(_state(r), item, i)
            doubted = self.lead[i] < 1.0 - DOUBTED
            if r.black_lead_check is None or doubted:
                yield setting, "black_lead_check", doubted and r.black_lead_check is None
            if r.battery_volts is None:
                yield setting, "battery_volts", doubted
            if i == last and self.has_celsius and not known:
                yield setting, "ambient_celsius", False

    def _idle_rpm(self) -> float:
        return self._speed(IDLE_RPM, raised=False)

    def _raised_rpm(self) -> float:
        return self._speed(RAISED_RPM, raised=True)

    def _speed(self, usual: float, *, raised: bool) -> float:
        """Engine speed of the last round in that state, the usual one without any."""
        known = [r.rpm for r in self.rounds if r.key == "run" and not r.action]
        same = [rpm for rpm in known if (rpm >= RAISED_FROM_RPM) == raised and rpm > 0.0]
        return same[-1] if same else usual

    def _share_of_snapping(self) -> float:
        """Probability of a circuit with something that a snap of the throttle moves."""
        return sum(p for family, p in self.share if _answers_snap(family))


def place_of(pins: Sequence[str], candidate: Candidate) -> str:
    """Terminal or pair as the answer names it; nothing for a reading of the whole round."""
    return "-".join(pins[t] for t in (candidate.at, candidate.other) if t >= 0)


def _on_battery(r: Round) -> bool:
    return r.black_lead.strip().lower() == BATTERY_NEGATIVE


def _state(r: Round) -> State:
    return State(plugged=r.plugged, key=r.key, rpm=r.rpm, action=r.action)


def goal_of(now: State | None, setting: Setting, quantity: str) -> State:
    """State that a reading is in fact taken in, as the steps have it."""
    start = now or State(plugged=True, key="off")
    return reachable_state(start, setting.state, quantity)


def _answers_snap(family: Family) -> bool:
    return any("snap-high" in driven.states for driven in family.driven.values())


def _family_share(posterior: Posterior) -> list[tuple[Family, float]]:
    """Families and their probabilities."""
    weight = np.bincount(posterior.draws.hypothesis, weights=posterior.draws.weight)
    pairs = posterior.bench.hypotheses.pairs
    return [(pairs[h][0], float(weight[h])) for h in np.flatnonzero(weight > 0.0)]


def _of_terminals(posterior: Posterior, of_wire: Array) -> Array:
    """Mean over draws and assignments of what is known of each wire, (n_terminal,)."""
    draws = posterior.draws
    return np.asarray(np.einsum("d,dtw,dw->t", draws.weight, draws.marginal, of_wire))


def _cell_share(posterior: Posterior) -> Array:
    """Probability that each terminal holds a wire of an oxygen cell, (n_terminal,)."""
    hypotheses, draws = posterior.bench.hypotheses, posterior.draws
    oxygen = np.array([hypotheses.pairs[int(h)][0].kind == "oxygen" for h in draws.hypothesis])
    role = hypotheses.table.role[draws.hypothesis]
    generator = np.isin(role, [k for k, n in enumerate(ROLES) if n.startswith("generator-")])
    return _of_terminals(posterior, (oxygen[:, None] & generator).astype(np.float64))


def _share_without_ohms(posterior: Posterior) -> Array:
    """Probability that an ohmmeter finds electronics between two terminals, (n, n)."""
    table, draws = posterior.bench.hypotheses.table, posterior.draws
    active = np.take_along_axis(table.active_end[draws.hypothesis], draws.best, axis=1)
    part = np.take_along_axis(table.component[draws.hypothesis], draws.best, axis=1)
    either = active[:, :, None] | active[:, None, :]
    apart = part[:, :, None] != part[:, None, :]
    return np.asarray(np.einsum("d,dtu->tu", draws.weight, (either & apart).astype(np.float64)))


def _share_with_celsius(posterior: Posterior) -> float:
    """Probability of a circuit with a temperature-sensing element."""
    draws = posterior.draws
    has = posterior.bench.hypotheses.table.celsius[draws.hypothesis] >= 0
    return float(np.sum(draws.weight[has]))
