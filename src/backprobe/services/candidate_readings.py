"""Readings that could be taken next: every useful quantity in every state within reach.

Left out: what is already on the sheet in the same state, unless the round is not to be trusted;
a load or an ohmmeter on wires that may belong to a sensor that makes its own voltage and must not
be loaded; ohms across electronics, where an ohmmeter tells nothing.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from backprobe.core.inference.sheet import SheetRound
from backprobe.families.schema import STATES
from backprobe.job import Round
from backprobe.services.candidate import Candidate, Candidates, Setting, goal_of, place_of
from backprobe.services.engine import Posterior
from backprobe.services.lead_checks import LeadCheck, last_told, lead_checks
from backprobe.services.problem import RAISED_FROM_RPM, state_of
from backprobe.services.steps import State
from backprobe.services.summary import role_probabilities, trust
from backprobe.services.unavailable import Unavailable, rpm_class, state_key
from backprobe.services.what_is_there import (
    answers_crank,
    answers_snap,
    answers_sweep,
    cell_share,
    names_reported,
    share_of,
    share_with_celsius,
    share_without_ohms,
)
from backprobe.vocabulary import BATTERY_NEGATIVE, ROLES

Array = NDArray[np.float64]

IDLE_RPM, RAISED_RPM = 800.0, 2500.0
CRANK_RPM = 200.0
SNAP, SWEEP = "snap throttle", "sweep"
MAY_BE_CELL = 0.02  # probability from which on a wire is not loaded
MOST_WITHOUT_OHMS = 0.1  # probability of electronics across a pair that leaves ohms out
MOSTLY = 0.5
MAY_MOVE = 0.25  # probability of something that can be swept, or cranked, from which on it is
DOUBTED = 0.02  # probability of a bad black lead from which on it is checked before all else
DOUBTED_AGAIN = 0.1  # the same where it held on this very point before

_MOVING = ("volts", "hertz", "duty_percent", "volts_ac")
_HELD = ("volts_high", "volts_low")
_AWAKE = ((False, "on"), (True, "on"), (True, "run"))  # states in which the control unit reports
MAY_REPORT = 0.25  # probability of a wire that a value tells of from which on it is asked for


def present_state(rounds: Sequence[Round]) -> State | None:
    """State that the last round left the vehicle in; None where there is none."""
    return _state(rounds[-1]) if rounds else None


def candidates_of(posterior: Posterior, without: Sequence[Unavailable] = ()) -> Candidates:
    """Everything that could be read next, settings without a reading left out.

    ``without`` are readings that can't be had.
    """
    listing = _Listing(posterior, without)
    settings: list[Setting] = []
    readings: list[Candidate] = []
    withheld = False
    for setting, every in listing.readings():
        found = [c for c in every if not listing.is_covered(setting, c)]
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

    def __init__(self, posterior: Posterior, without: Sequence[Unavailable]) -> None:
        self.without = without
        self.rounds = posterior.problem.rounds
        self.now = present_state(self.rounds)
        self.items = posterior.problem.sheet.rounds[: len(self.rounds)]
        self.pins = posterior.problem.job.connector.pins
        points = [i.point for r, i in zip(self.rounds, self.items, strict=True) if _on_battery(r)]
        self.on_battery = points[-1] if points else posterior.problem.sheet.n_point
        trusted = trust(posterior)
        self.lead = [trusted.lead[r.name] for r in self.rounds]
        self.checks = lead_checks(self.rounds)
        self.sound = [
            trusted.rounds[r.name] >= MOSTLY and check is not LeadCheck.FAILS
            for r, check in zip(self.rounds, self.checks, strict=True)
        ]
        role = role_probabilities(posterior)
        generator = [k for k, name in enumerate(ROLES) if name.startswith("generator-")]
        self.live = role[:, generator].sum(axis=1) > MAY_BE_CELL
        self.snaps = share_of(posterior, answers_snap) > MOSTLY
        self.sweeps = share_of(posterior, answers_sweep) > MAY_MOVE
        self.cranks = self._is_cranked() and share_of(posterior, answers_crank) > MAY_MOVE
        self.cell = cell_share(posterior) > MAY_BE_CELL
        self.without_ohms = share_without_ohms(posterior)
        self.scans = names_reported(posterior, MAY_REPORT)
        self.has_celsius = share_with_celsius(posterior) > MOSTLY

    def readings(self) -> Iterator[tuple[Setting, list[Candidate]]]:
        """Every setting with the readings that make sense in it, not yet numbered."""
        for setting, quantities in self.settings():
            found = [c for q in quantities for c in self.at_terminals(setting, q)]
            if not setting.state.plugged and setting.state.key == "off":
                found += self.across_sensor()
            if (setting.state.plugged, setting.state.key) in _AWAKE and not setting.state.action:
                found += self.reported(setting)
            yield setting, found
        for setting, quantity, first in self.of_rounds():
            yield setting, [Candidate(0, quantity, first=first)]
        if self.checks and self.checks[-1] is LeadCheck.FAILS:
            last = self.rounds[-1]
            check = Candidate(0, "black_lead_check", first=True, again=last.name)
            yield self._afresh(_state(last)), [check]

    def is_covered(self, setting: Setting, candidate: Candidate) -> bool:
        """Whether a reading is one of those that can't be had."""
        if not self.without:
            return False
        goal = goal_of(self.now, setting, candidate.quantity)
        state = state_key(
            plugged=goal.plugged,
            key=goal.key,
            rpm_class=rpm_class(goal.key, goal.rpm),
            action=goal.action,
        )
        place = place_of(self.pins, candidate)
        return any(each.covers(candidate.quantity, place, state) for each in self.without)

    def settings(self) -> Iterator[tuple[Setting, tuple[str, ...]]]:
        """Every state within reach, with the quantities at terminals that make sense in it."""
        yield self._setting(State(plugged=False, key="on")), ("volts", "volts_loaded")
        yield self._setting(State(plugged=True, key="on")), _MOVING
        yield self._setting(State(plugged=True, key="run", rpm=self._idle_rpm())), _MOVING
        running = bool(self.rounds) and self.rounds[-1].key == "run"
        if running:  # idle comes before more, and costs less
            yield self._setting(State(plugged=True, key="run", rpm=self._raised_rpm())), _MOVING
        if running and self.snaps:
            snap = State(plugged=True, key="run", rpm=self._idle_rpm(), action=SNAP)
            yield self._setting(snap), _HELD
        if self.sweeps:
            yield self._setting(State(plugged=True, key="on", action=SWEEP)), _HELD
        if self.cranks:
            yield self._setting(State(plugged=True, key="crank", rpm=CRANK_RPM)), _MOVING
        yield self._setting(State(plugged=False, key="off")), ("volts", "harness_ohms")

    def _setting(self, state: State) -> Setting:
        """The state as a round; it goes on with the last sound round in the same state."""
        fresh = self._afresh(state)
        same = [i for i in self._rounds_like(fresh.item) if self.sound[i]]
        if not same:
            return fresh
        return Setting(state, replace(fresh.item, point=self.items[same[-1]].point), same[-1])

    def _afresh(self, state: State) -> Setting:
        """The state as a new round, with the black lead on the battery."""
        low, high = state_of(state.key, state.rpm, state.action)
        item = SheetRound(
            name="",
            plugged=state.plugged,
            powered=state.key != "off",
            state=STATES.index(low),
            state_high=STATES.index(high),
            point=self.on_battery,
        )
        return Setting(state, item)

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
        bad = like if setting.continued is None and quantity == "volts" else []
        for t, pin in enumerate(self.pins):
            if pin not in taken and not (quantity == "volts_loaded" and self.live[t]):
                lost = [self.rounds[i].name for i in bad if pin in self.rounds[i].volts]
                yield Candidate(0, quantity, t, again=lost[-1] if lost else "")

    def reported(self, setting: Setting) -> Iterator[Candidate]:
        """Values that the control unit may report of this connector."""
        like = self._rounds_like(setting.item)
        taken = {name for i in like for name in self.rounds[i].scan}
        yield from (Candidate(0, "scan", scan=name) for name in self.scans if name not in taken)

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
            if self.checks[i] is LeadCheck.FAILS:
                continue  # its lead has to be moved, which begins another round
            setting = Setting(_state(r), item, i)
            doubted = self.lead[i] < 1.0 - (DOUBTED_AGAIN if self._held_before(i) else DOUBTED)
            moved = i == last and self._lead_was_moved()
            if r.black_lead_check is None or doubted:
                first = (doubted or moved) and r.black_lead_check is None
                yield setting, "black_lead_check", first
            if r.battery_volts is None:
                yield setting, "battery_volts", doubted or moved
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

    def _held_before(self, i: int) -> bool:
        """Whether the last check of the black lead before a round held, on the same point."""
        told = last_told(self.checks[:i])
        if told is None or self.checks[told] is LeadCheck.FAILS:
            return False
        return self.items[told].point == self.items[i].point

    def _lead_was_moved(self) -> bool:
        """Whether a check failed and none has held since."""
        told = last_told(self.checks)
        return told is not None and self.checks[told] is LeadCheck.FAILS

    def _is_cranked(self) -> bool:
        """Whether the engine has to be cranked: it was, or readings with it running can't be had.

        Where it runs, more is seen with less effort while it idles.
        """
        started = any(r.key == "run" for r in self.rounds)
        cranked = any(r.key == "crank" for r in self.rounds)
        refused = any(each.key == "run" for each in self.without)
        return (refused or cranked) and not started


def _on_battery(r: Round) -> bool:
    return r.black_lead.strip().lower() == BATTERY_NEGATIVE


def _state(r: Round) -> State:
    return State(plugged=r.plugged, key=r.key, rpm=r.rpm, action=r.action)
