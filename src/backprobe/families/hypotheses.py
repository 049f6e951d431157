"""All families that a connector may belong to, each with every fault, as stacked arrays."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from backprobe.core.circuit.plan import FIRST_SLOT, ONE_SLOT, stack_plans
from backprobe.core.inference.hypotheses import NO_VOLTS, HypothesisTable
from backprobe.core.inference.prior import N_CHOICE, PriorTable
from backprobe.families.circuit import FamilyCircuit, compile_family
from backprobe.families.fault_edits import SEVERITY
from backprobe.families.faults import ABSENT_SEVERITY, Fault, faults_of
from backprobe.families.output_edits import SOUND_OHM
from backprobe.families.schema import STATES, Family, Prior
from backprobe.vocabulary import NO_FAULT, REPORTED_TEMPERATURES, ROLES, SCAN_NAMES

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

# Inputs whose volts a control unit turns into a value; of pulses it takes the frequency.
VOLTS_REPORTED = ("signal-analogue", "signal-thermistor")
# What the pull-ups of temperature inputs hang on.
PULL_UP_FEEDS = ("vcc", "ref")
# A connector of n cavities holds a circuit of n wires, or one or two less: common practice.
UNUSED_SHARE = {0: 0.8, 1: 0.14, 2: 0.06}
# Values that physics bounds whatever the prior's tails say, by the driven quantity's unit.
UNIT_LIMITS = {
    "share": (0.0, 1.0),
    "celsius": (-60.0, 1100.0),
    "hertz": (0.0, 1e6),
    "volt": (-50.0, 50.0),
    "ampere": (-50.0, 50.0),
    "ohm": (1e-3, 1e12),
}
# What sensors put out differs more between vehicles than any list of examples shows.
WIDENING = 1.5
NOT_WIDENED = (
    "battery-volts",
    "inner-offset",
    "rail-offset",
    "body-offset",
    "feed-loss",
    "high-share",
    "low-share",
)
SMALLEST_OHM, LARGEST_OHM = 1e-3, 1e12


@dataclass(frozen=True, slots=True)
class Hypotheses:
    """Hypotheses of connectors of one size: names here, arrays for `core` in ``table``.

    pairs : family and fault of each hypothesis.
    free_name, driven_name : which value each free or driven slot is, as an index into a list of
        names that all hypotheses share, -1 pads; (H, F) and (H, Q).
    """

    n_terminal: int
    pairs: tuple[tuple[Family, Fault], ...]
    table: HypothesisTable
    free_name: IntArray
    driven_name: IntArray
    severity_name: int = 0  # what the fault's severity is called in free_name
    _slots: dict[int, Mapping[str, int]] = field(default_factory=dict, compare=False, repr=False)
    _numbering: list[str] = field(default_factory=list, compare=False, repr=False)

    @property
    def numbering(self) -> str:
        """What tells one numbering of hypotheses from another, also between two processes."""
        if not self._numbering:
            names = ";".join(f"{family.id} {fault.title}" for family, fault in self.pairs)
            self._numbering.append(hashlib.sha256(names.encode()).hexdigest())
        return self._numbering[0]

    def slots(self, h: int) -> Mapping[str, int]:
        """Value slot of each name of one hypothesis's circuit; drawn up when first asked for."""
        if h not in self._slots:
            self._slots[h] = prior_slots(compile_family(*self.pairs[h]))
        return self._slots[h]

    def severity_place(self, h: int) -> int:
        """Place of the fault's severity among the free values of a hypothesis, or -1."""
        found = np.flatnonzero(self.free_name[h] == self.severity_name)
        return int(found[0]) if found.size else -1

    def of_family(self, family_id: str) -> IntArray:
        """Hypotheses of one family."""
        return np.array([h for h, (f, _) in enumerate(self.pairs) if f.id == family_id])

    def sound(self, h: int) -> int:
        """The hypothesis without a fault of the family that a hypothesis belongs to."""
        some = self.of_family(self.pairs[h][0].id)
        return int(next(k for k in some if self.pairs[k][1].kind == NO_FAULT))


def pairs_for(
    n_terminal: int, families: Sequence[Family]
) -> tuple[tuple[tuple[Family, Fault], ...], Array]:
    """Families and faults of a connector with ``n_terminal`` cavities, and their log priors."""
    chosen = [f for f in families if n_terminal - len(f.wires) in UNUSED_SHARE]
    counts = {len(f.wires) for f in chosen}
    totals = {n: sum(f.prior for f in chosen if len(f.wires) == n) for n in counts}
    whole = sum(UNUSED_SHARE[n_terminal - n] for n in counts)
    pairs, log_prior = [], []
    for family in chosen:
        n = len(family.wires)
        share = UNUSED_SHARE[n_terminal - n] / whole * family.prior / totals[n]
        for fault in faults_of(family):
            pairs.append((family, fault))
            log_prior.append(np.log(share * fault.weight))
    return tuple(pairs), np.array(log_prior)


def hypotheses_for(n_terminal: int, families: Sequence[Family]) -> Hypotheses:
    """Stack all hypotheses of a connector with ``n_terminal`` cavities."""
    pairs, log_prior = pairs_for(n_terminal, families)
    circuits = [compile_family(family, fault) for family, fault in pairs]
    names: dict[str, int] = {SEVERITY: 0}
    free = [[names.setdefault(n, len(names)) for n in _free_order(c)] for c in circuits]
    driven = [[names.setdefault(n, len(names)) for n in _driven_order(c)] for c in circuits]
    return Hypotheses(
        n_terminal=n_terminal,
        pairs=pairs,
        table=stack_circuits(circuits, log_prior, n_terminal),
        free_name=_padded(free),
        driven_name=_padded(driven),
    )


def _padded(rows: list[list[int]]) -> IntArray:
    width = max(len(r) for r in rows)
    return np.array([r + [-1] * (width - len(r)) for r in rows], dtype=np.int64)


def stack_circuits(
    circuits: Sequence[FamilyCircuit], log_prior: Array, n_terminal: int
) -> HypothesisTable:
    """Circuits as one `HypothesisTable`, padded to ``n_terminal`` wires."""
    table = stack_plans([c.plan for c in circuits], n_terminal=n_terminal)
    n_h, n_p = len(circuits), table.n_value
    n_q = max(len(c.driven) for c in circuits)
    choice_at, choice_moves = _choices(circuits)
    n_f = max(sum(p.kind != "fixed" for p in c.values.values()) for c in circuits)
    static, driven = _Rows((n_h, n_f)), _Rows((n_h, len(STATES), n_q))
    fixed, free_slot = np.zeros((n_h, n_p)), np.full((n_h, n_f), -1)
    fixed[:, ONE_SLOT] = 1.0
    slot = np.full((n_h, n_q), -1)
    alias, step = (
        np.tile(np.arange(len(STATES))[None, :, None], (n_h, 1, n_q)),
        np.zeros((n_h, n_q)),
    )
    role, component = np.full((n_h, n_terminal), -1), np.full((n_h, n_terminal), -1)
    active = np.zeros((n_h, n_terminal), dtype=bool)
    celsius, severity_at = np.full(n_h, -1), np.full(n_h, -1)
    for h, c in enumerate(circuits):
        place = {name: FIRST_SLOT + i for i, name in enumerate(c.slots)}
        for name, prior in c.values.items():
            if prior.kind == "fixed":
                fixed[h, place[name]] = prior.a
        for f, name in enumerate(_free_order(c)):
            free_slot[h, f] = place[name]
            static.put((h, f), c.values[name])
            if name == SEVERITY:
                severity_at[h] = f
            if "ohm" in name:
                static.lowest[h, f], static.highest[h, f] = SMALLEST_OHM, LARGEST_OHM
        for q, name in enumerate(_driven_order(c)):
            d = c.driven[name]
            slot[h, q] = place[name]
            alias[h, :, q] = [STATES.index(d.resolved(s)) for s in STATES]
            step[h, q] = d.drift if d.always is not None else d.repeat
            for s, state in enumerate(STATES):
                driven.put((h, s, q), d.prior(state))
                if name not in NOT_WIDENED and d.unit in ("share", "volt"):
                    driven.scale[h, s, q] *= WIDENING
                low, high = UNIT_LIMITS[d.unit]
                if d.limits is not None:
                    low, high = d.limits.a, d.limits.b
                    driven.shorten((h, s, q), low, high)
                driven.lowest[h, s, q], driven.highest[h, s, q] = low, high
            if d.unit == "celsius" and celsius[h] < 0:
                celsius[h] = q
        n = len(c.family.wires)
        role[h, :n] = [ROLES.index(w.role) for w in c.family.wires]
        component[h, :n] = c.component
        active[h, :n] = c.active_ends
    return HypothesisTable(
        circuits=table,
        fixed=fixed,
        free_slot=free_slot,
        static=static.table(),
        driven_slot=slot,
        driven_prior=driven.table(),
        driven_alias=alias,
        driven_step=step,
        choice_at=choice_at,
        choice_moves=choice_moves,
        log_prior=log_prior,
        role=role,
        component=component,
        active_end=active,
        alternating_hertz=np.array([c.alternating_hertz for c in circuits]),
        celsius=celsius,
        curve_slot=np.array([_curve_slots(c) for c in circuits], dtype=np.int64),
        severity_at=severity_at,
        absent=np.array([ABSENT_SEVERITY.get(c.fault.kind, np.nan) for c in circuits]),
        n_wire=np.array([len(c.family.wires) for c in circuits]),
        reported=np.array([_reported(c.family) for c in circuits]),
    )


def _curve_slots(c: FamilyCircuit) -> list[int]:
    """Slots of the pull-up and the curve that a reported temperature is reckoned with, or -1."""
    nothing = [-1, -1, -1]
    thermistors = [e for e in c.family.elements if e.kind == "thermistor"]
    wires = {w for scan, w in c.family.reports if scan in REPORTED_TEMPERATURES}
    if len(thermistors) != 1 or len(wires) != 1:
        return nothing
    node = next(w.to for w in c.family.wires if w.name in wires)
    beside = [e for e in c.family.elements if e.side == "control-unit" and node in e.nodes]
    if any(e.kind != "resistor" or not set(e.nodes) & set(PULL_UP_FEEDS) for e in beside):
        return nothing
    pull_ups = {e.parameters["ohm"] for e in beside}
    place = {name: FIRST_SLOT + i for i, name in enumerate(c.slots)}
    ohm_25, beta = (thermistors[0].parameters[k] for k in ("ohm_25", "beta_kelvin"))
    names = [*pull_ups, SOUND_OHM if SOUND_OHM in place else ohm_25, beta]
    if len(pull_ups) != 1 or any(name not in place for name in names):
        return nothing
    return [place[name] for name in names]


def _reported(family: Family) -> list[int]:
    """Place of the wire that each value of a control unit tells the volts of.

    -1 where the circuit has no such value, `NO_VOLTS` where it isn't told by volts.
    """
    of = dict(family.reports)
    wires = {w.name: place for place, w in enumerate(family.wires) if w.role in VOLTS_REPORTED}
    return [wires.get(of[scan], NO_VOLTS) if scan in of else -1 for scan in SCAN_NAMES]


def _choices(circuits: Sequence[FamilyCircuit]) -> tuple[IntArray, Array]:
    """Places of the driven quantities that are a choice in some state, and how they move."""
    found = [
        [
            (q, c.driven[name].moves)
            for q, name in enumerate(_driven_order(c))
            if any(c.driven[name].prior(state).kind == "choice" for state in STATES)
        ]
        for c in circuits
    ]
    shape = (len(circuits), max(len(own) for own in found))
    at, moves = np.full(shape, -1), np.zeros(shape)
    for h, own in enumerate(found):
        for place, (q, chance) in enumerate(own):
            at[h, place], moves[h, place] = q, chance
    return at, moves


def _free_order(circuit: FamilyCircuit) -> list[str]:
    """Values with a prior, in the order of their slots in the table."""
    return [n for n, p in circuit.values.items() if p.kind != "fixed"]


def _driven_order(circuit: FamilyCircuit) -> list[str]:
    """Driven quantities, the battery first (`core.inference.predict.BATTERY_SLOT`)."""
    return sorted(circuit.driven, key=lambda name: name != "battery-volts")


class _Rows:
    """A `PriorTable` being filled."""

    def __init__(self, shape: tuple[int, ...]) -> None:
        self.centre, self.scale = np.zeros(shape), np.zeros(shape)
        self.is_log, self.is_uniform = np.zeros(shape, dtype=bool), np.zeros(shape, dtype=bool)
        self.lowest, self.highest = np.full(shape, -np.inf), np.full(shape, np.inf)
        self.choice = np.full((*shape, N_CHOICE), np.nan)
        self.edge = np.full((*shape, N_CHOICE), np.inf)

    def put(self, at: tuple[int, ...], prior: Prior) -> None:
        a, b = prior.a, prior.b
        if prior.kind == "fixed":
            self.centre[at] = a
        elif prior.kind == "normal":
            self.centre[at], self.scale[at] = a, b
        elif prior.kind == "uniform":
            self.centre[at], self.scale[at] = 0.5 * (a + b), 0.5 * (b - a)
            self.is_uniform[at] = True
        elif prior.kind == "log_uniform":
            self.centre[at] = 0.5 * (np.log(a) + np.log(b))
            self.scale[at] = 0.5 * (np.log(b) - np.log(a))
            self.is_log[at] = self.is_uniform[at] = True
        elif prior.kind == "log_normal":
            self.centre[at], self.scale[at] = np.log(a), np.log(b)
            self.is_log[at] = True
        else:
            self._put_choice(at, prior)

    def shorten(self, at: tuple[int, ...], low: float, high: float) -> None:
        """Cut a uniform prior short at its ends, so that nothing is heaped on them."""
        if not self.is_uniform[at]:
            return
        ends = np.array([self.centre[at] - self.scale[at], self.centre[at] + self.scale[at]])
        cut = np.log(np.clip(np.exp(ends), low, high)) if self.is_log[at] else ends.clip(low, high)
        self.centre[at], self.scale[at] = cut.mean(), 0.5 * (cut[1] - cut[0])

    def _put_choice(self, at: tuple[int, ...], prior: Prior) -> None:
        options = [
            float(c) if not isinstance(c, str) else float(i) for i, c in enumerate(prior.choices)
        ]
        weights = np.array(prior.weights or [1.0 / len(options)] * len(options))
        self.choice[at][: len(options)] = options
        self.edge[at][: len(options) - 1] = ndtri(np.cumsum(weights / weights.sum())[:-1])

    def table(self) -> PriorTable:
        return PriorTable(
            self.centre,
            self.scale,
            self.is_log,
            self.is_uniform,
            self.lowest,
            self.highest,
            self.choice,
            self.edge,
        )


def prior_slots(circuit: FamilyCircuit) -> Mapping[str, int]:
    """Value slot of each name of a circuit."""
    return {name: FIRST_SLOT + i for i, name in enumerate(circuit.slots)}
