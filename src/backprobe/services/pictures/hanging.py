"""What hangs on the wires in the sensor, from the family's netlist: few parts, as drawn by hand."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Final

from backprobe.families.schema import BUILT_IN_NODES, Element, Family
from backprobe.services.pictures.likeliest import Likeliest

BOX: Final = "box"
TRACK: Final = "track"
_RAILS: Final = ("supply-regulated", "supply-battery", "sensor-ground")
_GENERATOR: Final = ("generator-signal", "generator-return")
# What tells most about elements that belong together, first.
_TELLING: Final = ("potentiometer", "cell", "thermistor", "platinum", "coil", "contact", "resistor")


@dataclass(frozen=True, slots=True)
class Part:
    """One part of the sensor: a box, or a symbol between two wires.

    wires : names of the wires that it hangs on; for a symbol its ends, a wiper's wire in `wiper`.
    to_body : its other end is the sensor's own shell.
    """

    symbol: str
    words: str
    wires: tuple[str, ...]
    wiper: str = ""
    to_body: bool = False

    @property
    def touched(self) -> tuple[str, ...]:
        """All wires that it hangs on."""
        return (*self.wires, self.wiper) if self.wiper else self.wires


def parts_of(likeliest: Likeliest) -> tuple[Part, ...]:
    """The parts of the sensor in the likeliest circuit; none where no family is known."""
    if likeliest.family is None:
        return ()
    return family_parts(likeliest.family)


def is_built_alike(likeliest: Likeliest) -> bool:
    """Whether all families that the answer may mean have the same parts in the sensor."""
    shapes = set()
    for family in likeliest.families:
        role = {wire.name: wire.role for wire in family.wires}
        parts = family_parts(family)
        shapes.add(tuple(sorted((p.symbol, *sorted(role[w] for w in p.touched)) for p in parts)))
    return len(shapes) <= 1


def family_parts(family: Family) -> tuple[Part, ...]:
    """The parts in a family's sensor."""
    groups = _groups(e for e in family.elements if e.side == "sensor")
    parts = [_part(family, group) for group in groups]
    parts = _with_cells_joined(family, [part for part in parts if part.touched])
    parts = [_with_consumption(family, part, parts) for part in parts]
    parts = list(joined_boxes(family, parts, lambda a, b: bool(set(a.wires) & set(b.wires))))
    boxes = [part for part in parts if part.symbol == BOX]
    kept = []
    for part in parts:
        if part.symbol == "resistor" and _is_inside(family, part, boxes, parts):
            continue
        kept.append(part)
    return tuple(kept)


def joined_boxes(
    family: Family, parts: Sequence[Part], is_one: Callable[[Part, Part], bool]
) -> tuple[Part, ...]:
    """Make one box of boxes that belong together."""
    kept: list[Part] = []
    for part in parts:
        found = part
        for other in [each for each in kept if part.symbol == BOX == each.symbol]:
            if is_one(found, other):
                kept.remove(other)
                found = _joined(family, other, found)
        kept.append(found)
    return tuple(kept)


def _joined(family: Family, first: Part, second: Part) -> Part:
    wires = tuple(w for w in family.wires if w.name in {*first.wires, *second.wires})
    outputs = sum(wire.role not in _RAILS for wire in wires)
    words = first.words if outputs < 2 else f"electronics, {outputs} outputs"
    return Part(BOX, words, tuple(wire.name for wire in wires))


def _groups(elements: Iterable[Element]) -> list[list[Element]]:
    """Elements that share a point inside the sensor belong together."""
    groups: list[list[Element]] = []
    for element in elements:
        inner = {node for node in element.nodes if _is_inner(node)}
        joined = [g for g in groups if inner & {n for e in g for n in e.nodes}]
        merged = [*(e for g in joined for e in g), element]
        groups = [g for g in groups if g not in joined] + [merged]
    return groups


def _is_inner(node: str) -> bool:
    return not node.endswith(".pin") and node not in BUILT_IN_NODES


def _part(family: Family, group: list[Element]) -> Part:
    nodes = list(dict.fromkeys(n for e in group for n in e.nodes))
    wires = tuple(w.name for w in family.wires if w.pin in nodes)
    electronics = [e for e in group if _is_electronics(e)]
    if electronics:
        roles = {wire.role for wire in family.wires if wire.name in wires}
        return Part(BOX, _electronics_words(electronics[0], roles), wires)
    main = min(group, key=lambda e: _TELLING.index(e.kind) if e.kind in _TELLING else 99)
    to_body = any(node in BUILT_IN_NODES for node in nodes)
    if main.kind == "potentiometer":
        wiper = next((w.name for w in family.wires if w.pin == main.nodes[1]), "")
        ends = tuple(name for name in wires if name != wiper)
        return Part(TRACK, "track with wiper", ends, wiper, to_body)
    if len(wires) > 2:
        return Part(BOX, "circuit of the sensor", wires)
    symbol, words = _passive(family, main, wires)
    return Part(symbol, words, wires, "", to_body)


def _is_electronics(element: Element) -> bool:
    if element.kind in {"ratiometric", "regulated", "sink"}:
        return True
    return element.kind == "contact" and len(element.nodes) > 2


def _electronics_words(element: Element, roles: set[str]) -> str:
    if element.kind == "contact":
        return "electronics: output switches to ground"
    if element.kind == "sink":
        return "electronics: signals by its current"
    if "signal-switching" in roles:
        return "electronics: output sends pulses"
    return "electronics: output is a voltage"


def _passive(family: Family, main: Element, wires: tuple[str, ...]) -> tuple[str, str]:
    roles = {wire.role for wire in family.wires if wire.name in wires}
    if main.kind in {"thermistor", "platinum"}:
        return "thermistor", "thermistor" if main.kind == "thermistor" else "platinum resistor"
    if main.kind == "coil":
        if "motor" in roles:
            return "motor", "motor"
        return "coil", "pick-up coil" if roles & set(_GENERATOR) else "coil"
    if main.kind == "cell":
        return "cell", "piezo element" if family.kind == "knock" else "measuring cell"
    if main.kind == "contact":
        return "contact", "contact"
    is_heater = "heater-control" in roles or (family.kind == "oxygen" and roles <= set(_RAILS))
    return ("heater", "heater") if is_heater else ("resistor", "resistor")


def _with_cells_joined(family: Family, parts: list[Part]) -> list[Part]:
    """Several cells on one set of wires become one box: the answer can't tell them apart."""
    role = {wire.name: wire.role for wire in family.wires}
    cells = [p for p in parts if p.wires and all(role[w] in _GENERATOR for w in p.touched)]
    if len(cells) < 2:
        return parts
    touched = {name for part in cells for name in part.touched}
    wires = tuple(wire.name for wire in family.wires if wire.name in touched)
    return [*(p for p in parts if p not in cells), Part(BOX, "measuring cells", wires)]


def _is_inside(family: Family, part: Part, boxes: list[Part], parts: list[Part]) -> bool:
    """A resistor that is only what electronics consume, or lies across another part."""
    role = {wire.name: wire.role for wire in family.wires}
    if all(role[name] in _RAILS for name in part.touched):
        return any(set(part.touched) & set(box.touched) for box in boxes)
    return any(other is not part and set(other.wires) == set(part.wires) for other in parts)


def _with_consumption(family: Family, part: Part, parts: list[Part]) -> Part:
    """Electronics also hang on the wires that they are fed by."""
    if part.symbol != BOX:
        return part
    role = {wire.name: wire.role for wire in family.wires}
    mine = set(part.wires)
    for other in parts:
        if (
            other.symbol == "resistor"
            and all(role[n] in _RAILS for n in other.wires)
            and mine & set(other.wires)
        ):
            mine |= set(other.wires)
    return replace(part, wires=tuple(w.name for w in family.wires if w.name in mine))
