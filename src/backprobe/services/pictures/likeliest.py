"""The circuit that an answer thinks most probable, put onto the connector's terminals."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from backprobe.families.loader import load_families
from backprobe.families.schema import Family, Wire
from backprobe.services.answer import Answer

DECIDED: Final = 0.60  # a role or circuit below this is shown as open
NOT_USED: Final = "not-used"


@dataclass(frozen=True, slots=True)
class Likeliest:
    """Families that the answer may mean, and which of the first one's wires ends at each terminal.

    ``families`` have one title and the terminals' roles; the most common comes first. ``twins``
    are terminals that share a role, so that the answer can't tell which wire each of them is.
    """

    title: str = ""
    probability: float = 0.0
    families: tuple[Family, ...] = ()
    pins: Mapping[str, str] = field(default_factory=dict)  # wire's name -> pin
    twins: frozenset[str] = frozenset()

    @property
    def family(self) -> Family | None:
        """The family that the picture is drawn from."""
        return self.families[0] if self.families else None

    @property
    def is_decided(self) -> bool:
        """Whether the circuit is likely enough to be drawn in full lines."""
        return bool(self.families) and self.probability >= DECIDED

    def wires_at(self, pin: str) -> tuple[Wire, ...]:
        """The first family's wires that may end at a terminal: several where it has a twin."""
        if self.family is None:
            return ()
        mine = next((w for w in self.family.wires if self.pins.get(w.name) == pin), None)
        if mine is None or pin not in self.twins:
            return (mine,) if mine is not None else ()
        return tuple(wire for wire in self.family.wires if wire.role == mine.role)


def likeliest_circuit(answer: Answer | None) -> Likeliest:
    """Match an answer's first circuit and its roles with the families."""
    if answer is None or not answer.circuits:
        return Likeliest()
    first = max(answer.circuits, key=lambda circuit: circuit.probability)
    roles = {t.pin: t.role for t in answer.terminals if t.role != NOT_USED}
    wanted = sorted(roles.values())
    matching = [
        family
        for family in load_families()
        if family.title == first.circuit and sorted(w.role for w in family.wires) == wanted
    ]
    matching.sort(key=lambda family: -family.prior)
    if not matching:
        return Likeliest(first.circuit, first.probability)
    twins = frozenset(pin for pin, role in roles.items() if wanted.count(role) > 1)
    pins = _placed(matching[0], roles)
    return Likeliest(first.circuit, first.probability, tuple(matching), pins, twins)


def _placed(family: Family, roles: Mapping[str, str]) -> dict[str, str]:
    free = dict(roles)
    placed = {}
    for wire in family.wires:
        pin = next(pin for pin, role in free.items() if role == wire.role)
        placed[wire.name] = pin
        del free[pin]
    return placed
