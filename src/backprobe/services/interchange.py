"""Wires that no meter can tell apart: a sensor's two ends that the control unit treats alike.

The live end and the return of a sensor that makes its own voltage differ only by what the control
unit hangs on them. Where exchanging the two leaves the netlist as it is, which end is which is no
question, and no reading answers it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from itertools import product

import numpy as np
from numpy.typing import NDArray

from backprobe.core.inference.draws import Draws
from backprobe.families.hypotheses import Hypotheses
from backprobe.families.schema import Element, Family, Prior, Wire

IntArray = NDArray[np.int64]

LIVE, RETURN = "generator-signal", "generator-return"
EITHER_WAY_ROUND = ("resistor", "coil")  # kinds of element whose two ends are alike


def alike_wires(hypotheses: Hypotheses, draws: Draws) -> NDArray[np.bool_]:
    """Returns that cannot be told from the live end, by draw and wire, (n_draw, n_terminal)."""
    found = np.zeros(draws.best.shape, dtype=bool)
    families = {f.id: f for f in (hypotheses.pairs[int(h)][0] for h in np.unique(draws.hypothesis))}
    for family in families.values():
        if all(wire.role != RETURN for wire in family.wires):
            continue
        of_family = hypotheses.of_family(family.id)
        rows = np.flatnonzero(np.isin(draws.hypothesis, of_family))
        for options, wires in _alike_by_options(family):
            has = np.ones(rows.size, dtype=bool)
            for name, code in options.items():
                has &= _has(hypotheses, draws.rows(rows), int(of_family[0]), name, code)
            found[np.ix_(rows[has], np.array(wires))] = True
    return found


def _alike_by_options(family: Family) -> Iterator[tuple[dict[str, float], list[int]]]:
    """Every combination of the family's options, and the returns that are alike under it."""
    conditional = {e.only_if[0] for e in family.elements if e.only_if is not None}
    names = sorted(conditional - family.driven.keys())
    lives = [wire for wire in family.wires if wire.role == LIVE]
    for chosen in product(*(enumerate(family.values[n].choices) for n in names)):
        options = {n: str(option) for n, (_, option) in zip(names, chosen, strict=True)}
        elements = [
            e
            for e in family.elements
            if e.only_if is None or options.get(e.only_if[0], e.only_if[1]) == e.only_if[1]
        ]
        wires = [
            k
            for k, wire in enumerate(family.wires)
            if wire.role == RETURN
            and any(_is_symmetric(family, elements, live, wire) for live in lives)
        ]
        if wires:
            yield {n: float(code) for n, (code, _) in zip(names, chosen, strict=True)}, wires


def _is_symmetric(family: Family, elements: list[Element], live: Wire, back: Wire) -> bool:
    """Whether the netlist stays the same when the two wires are exchanged."""
    exchange = {live.to: back.to, back.to: live.to, live.pin: back.pin, back.pin: live.pin}
    near = [e for e in elements if not exchange.keys().isdisjoint(e.nodes)]
    as_drawn = Counter(_shape(family, e, {}) for e in near)
    return as_drawn == Counter(_shape(family, e, exchange) for e in near)


def _shape(family: Family, element: Element, exchange: Mapping[str, str]) -> tuple[object, ...]:
    """What an element is and where it hangs, its own name aside."""
    nodes = [exchange.get(n, n) for n in element.nodes]
    if element.kind in EITHER_WAY_ROUND or _only_alternates(family, element):
        nodes.sort()
    values = []
    for key, name in sorted(element.parameters.items()):
        own = name.startswith(f"{element.name}.")
        prior = family.values.get(name) if own else None
        values.append((key, _law(prior) if prior is not None else name))
    return (element.kind, element.side, tuple(nodes), tuple(values))


def _only_alternates(family: Family, element: Element) -> bool:
    """Whether a cell has no direct voltage, so that a meter cannot tell its ends."""
    if element.kind != "cell":
        return False
    volt = family.values.get(element.parameters.get("volt", ""))
    return volt is not None and volt.kind == "fixed" and volt.a == 0.0


def _law(prior: Prior) -> tuple[object, ...]:
    return (prior.kind, prior.a, prior.b, prior.choices, prior.weights)


def _has(
    hypotheses: Hypotheses, draws: Draws, sound: int, name: str, code: float
) -> NDArray[np.bool_]:
    """Which draws of one family have an option of a choice; ``sound`` is its sound hypothesis."""
    slot = hypotheses.slots(sound)[name]
    place = int(np.flatnonzero(hypotheses.table.free_slot[sound] == slot)[0])
    is_it = hypotheses.free_name[draws.hypothesis] == hypotheses.free_name[sound, place]
    own_slot = hypotheses.table.free_slot[draws.hypothesis, np.argmax(is_it, axis=1)]
    value = draws.values[np.arange(own_slot.size), 0, np.maximum(own_slot, 0)]
    return np.asarray(is_it.any(axis=1) & (value == code))
