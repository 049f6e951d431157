"""Fitted explanations held against each other, reading by reading.

Weights are decibans, 10 log10 of the likelihood ratio ([good1950]): a claim's best explanation
against the best explanation of a rival, each at its own most probable values.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from backprobe.core.inference.fit import Fit
from backprobe.core.inference.likelihood import LOGARITHMIC
from backprobe.core.inference.sheet import Quantity, Sheet
from backprobe.quantities import format_quantity
from backprobe.services.answer import DOUBTFUL_BELOW, Reason
from backprobe.services.engine import Posterior
from backprobe.services.summary import NOT_USED, trust
from backprobe.services.words import reading_pins, reading_round

Array = NDArray[np.float64]

DECIBANS_PER_NAT = 10.0 / np.log(10.0)
BEFORE = "before any reading"  # label of what priors and freedom of fit say
SMALLEST_SHOWN = 1.0  # decibans; weaker readings stay in the full table only
TELLS_FAIRLY = 4.0  # decibans; what says less is called weak
TELLS_APART = 3.0  # decibans; a rival is told apart by a reading that weighs twice as much for one
ANY = "any value"
EXPECTED_WITHIN = 1.5  # deviations; nobody calls a reading this near another than what was expected
FAR_OFF = 3.0  # deviations; nobody would say that this was expected
UNIT = {
    Quantity.VOLTS: "volt",
    Quantity.VOLTS_HIGH: "volt",
    Quantity.VOLTS_LOW: "volt",
    Quantity.LEVEL_HIGH: "volt",
    Quantity.LEVEL_LOW: "volt",
    Quantity.VOLTS_AC: "volt",
    Quantity.HERTZ: "hertz",
    Quantity.VOLTS_LOADED: "volt",
    Quantity.HARNESS_OHM: "ohm",
    Quantity.SENSOR_OHM: "ohm",
    Quantity.BATTERY: "volt",
    Quantity.LEAD_CHECK: "volt",
    Quantity.INPUT_VOLTS: "volt",
    Quantity.INPUT_CELSIUS: "celsius",
    Quantity.AMBIENT: "celsius",
}


@dataclass(frozen=True, slots=True)
class Explanation:
    """One fitted explanation: condition and row of its fit, its roles and fault."""

    condition: int
    row: int
    score: float
    roles: tuple[int, ...]
    fault: str
    places: tuple[int, ...]
    family: str
    circuit: str


class Weigher:
    """Compares fitted explanations reading by reading.

    ``believed`` tells, (n_read,), which readings are of no round that is doubtful as a whole.
    """

    def __init__(self, posterior: Posterior) -> None:
        self.posterior = posterior
        self.best_condition, best_row = posterior.best_fit
        self.sheet: Sheet = posterior.problem.conditions[self.best_condition].sheet
        self.fits: Fit = posterior.fits[self.best_condition]
        self.all = [self._explanation(row) for row in range(self.fits.hypothesis.size)]
        self.best = self.all[best_row]
        self.pins = posterior.problem.job.connector.pins
        trusted = trust(posterior).rounds
        rounds = [reading_round(label) for label in self.sheet.label]
        self.believed = np.array([trusted.get(r, 1.0) >= DOUBTFUL_BELOW for r in rounds], bool)

    def _explanation(self, row: int) -> Explanation:
        table, pairs = self.posterior.bench.hypotheses.table, self.posterior.bench.hypotheses.pairs
        h = int(self.fits.hypothesis[row])
        family, fault = pairs[h]
        role = table.role[h][self.fits.assigned[row]]
        names = [w.name for w in family.wires]
        places = [
            int(np.flatnonzero(self.fits.assigned[row] == names.index(w))[0]) for w in fault.wires
        ]
        return Explanation(
            condition=self.best_condition,
            row=row,
            score=float(self.fits.log_evidence[row] + table.log_prior[h]),
            roles=tuple(int(r) if r >= 0 else NOT_USED for r in role),
            fault=fault.name,
            places=tuple(places),
            family=family.id,
            circuit=family.title,
        )

    def rival_of_role(self, terminal: int, role: int) -> Explanation | None:
        """The best explanation in which a terminal has another role."""
        others = [e for e in self.all if e.roles[terminal] != role]
        return max(others, key=lambda e: e.score, default=None)

    def rival_of_fault(self, fault: str) -> Explanation | None:
        """The best explanation with another fault (or none)."""
        others = [e for e in self.all if e.fault != fault]
        return max(others, key=lambda e: e.score, default=None)

    def told_apart(
        self, claim: Explanation, others: list[Explanation], *, by_circuit: bool = True
    ) -> Explanation | None:
        """The nearest of some rivals that a reading tells apart from a claim, else the nearest.

        What reads the same in everything (a supply or a signal on a wire that is dead) can't be
        spoken against by any reading; a claim is carried by what it leaves behind. That the control
        unit reports a value at all tells circuits apart, never their faults: ``by_circuit``.
        """
        near = sorted(others, key=lambda e: -e.score)
        if not near or not self.sheet.n_read:
            return near[0] if near else None
        rows = np.array([e.row for e in near], dtype=np.int64)
        weight = self.fits.reading_log[claim.row] - self.fits.reading_log[rows]
        if not by_circuit:
            weight = np.where(self.sheet.quantity == Quantity.REPORTED, 0.0, weight)
        tells = (weight * DECIBANS_PER_NAT).max(axis=1) >= TELLS_APART
        return near[int(np.argmax(tells))]

    def told_apart_at(
        self, pin: str, claim: Explanation, others: list[Explanation]
    ) -> tuple[Explanation, int] | None:
        """The nearest rival that a reading at a terminal tells apart, and that reading."""
        at = [i for i, label in enumerate(self.sheet.label) if pin in reading_pins(label)]
        for rival in sorted(others, key=lambda e: -e.score) if at else ():
            weights, _ = self.decibans(claim, rival)
            i = max(at, key=lambda i: float(weights[i]))
            if weights[i] >= TELLS_FAIRLY:
                return rival, i
        return None

    def best_with_roles(self, roles: tuple[int, ...]) -> Explanation:
        """The best explanation of all in which the terminals have these roles."""
        same = [e for e in self.all if e.roles == roles]
        return max(same, key=lambda e: e.score, default=self.best)

    def best_with_fault(self, fault: str) -> Explanation | None:
        """The best explanation with a fault."""
        same = [e for e in self.all if e.fault == fault]
        return max(same, key=lambda e: e.score, default=None)

    def decibans(self, claim: Explanation, rival: Explanation) -> tuple[Array, float]:
        """Weight of each reading, and of what stood before any reading."""
        difference = self.fits.reading_log[claim.row] - self.fits.reading_log[rival.row]
        total = claim.score - rival.score
        before = total - float(np.sum(difference))
        return difference * DECIBANS_PER_NAT, before * DECIBANS_PER_NAT

    def table(
        self, claim_text: str, claim: Explanation, rival: Explanation, rival_text: str
    ) -> tuple[Reason, ...]:
        """All readings' weights for a claim, strongest first."""
        weights, before = self.decibans(claim, rival)
        rows = [
            Reason(
                claim_text,
                self.sheet.label[i],
                float(weights[i]),
                self.sentence(i, claim, rival, rival_text, float(weights[i])),
            )
            for i in range(self.sheet.n_read)
        ]
        rows.append(
            Reason(
                claim_text,
                BEFORE,
                float(before),
                "how common each is, and how freely it can be fitted, against " + rival_text,
            )
        )
        return tuple(sorted(rows, key=lambda r: -r.decibans))

    def sentence(
        self, i: int, claim: Explanation, rival: Explanation, rival_text: str, weight: float
    ) -> str:
        """What a reading says between a claim and its rival."""
        seen = self.shown(i, None)
        if abs(weight) < SMALLEST_SHOWN:
            return f"{seen} says little between this and {rival_text}"
        if self.sheet.quantity[i] == Quantity.REPORTED:
            has, lacks = (claim, rival) if weight > 0 else (rival, claim)
            return f'{seen} is reported, as with "{has.circuit}" and not with "{lacks.circuit}"'
        own, other = self.shown(i, claim), self.shown(i, rival)
        if weight > 0 and other == ANY:
            return f"{seen} where this expects {own}; with {rival_text} it could be anything"
        if own == other or (self.expects(i, claim) and self.expects(i, rival)):
            more, less = ("this", rival_text) if weight > 0 else (rival_text, "this")
            return f"{seen} is likelier with {more} than with {less}"
        if weight < 0:
            return f"{seen} fits {rival_text} ({other}) better than this ({own})"
        is_far = abs(self.fits.residual[claim.row, i]) >= FAR_OFF
        nearer = f"is nearer to this ({own}) than to {rival_text} ({other})"
        told = f"where this expects {own}; {rival_text} would give {other}"
        return f"{seen} {nearer if is_far else told}"

    def expects(self, i: int, explanation: Explanation) -> bool:
        """Whether a reading lies where an explanation expects it, as near as that can be told."""
        return bool(abs(self.fits.residual[explanation.row, i]) < EXPECTED_WITHIN)

    def shown(self, i: int, explanation: Explanation | None) -> str:
        """A reading, or what an explanation predicts for it, as a technician writes it."""
        quantity = Quantity(int(self.sheet.quantity[i]))
        if quantity == Quantity.REPORTED:
            return self.sheet.label[i].partition(" scan ")[2]
        if explanation is None:
            value = float(self.sheet.value[i])
            if not np.isfinite(value):
                return "nothing counted" if quantity == Quantity.HERTZ else "OL"
        else:
            value = float(self.fits.predicted[explanation.row, i])
            if np.isnan(value):
                return "no frequency" if quantity in (Quantity.HERTZ, Quantity.DUTY) else ANY
            if quantity in LOGARITHMIC:
                if not np.isfinite(value) or value > 17.0:
                    return "OL"
                value = float(np.exp(min(value, 40.0)))
        if quantity == Quantity.DUTY:
            return f"{100 * value:.0f} %"
        is_small = UNIT[quantity] == "ohm" and abs(value) < 1.0  # mohm would be taken for Mohm
        return f"{value:.2g} ohm" if is_small else format_quantity(value, UNIT[quantity])
