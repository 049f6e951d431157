"""Where the parts of a circuit's picture go: control unit left, harness, sensor right.

Each wire is a row. On either side an element between two rows stands upright in a column; one that
goes to a supply or a ground lies flat behind the columns and ends in a flag with its name.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from backprobe.families.schema import BUILT_IN_NODES, Element, Family, Side

ROW_STEP: Final = 2.1
COLUMN_STEP: Final = 4.8
FIRST_COLUMN: Final = 1.6
HARNESS: Final = 4.0
WIPER: Final = 0.9  # from a track to where its wiper's lead turns to its row
BRANCH: Final = 3.6

FLAGS: Final = {
    "battery-": "body",
    "body": "body ground",
    "battery": "battery",
    "feed": "battery feed",
    "cu-battery": "battery inside",
    "vcc": "5 V inside",
    "ref": "5 V supply",
    "cu-ground": "sensor ground rail",
    "cu-inner": "inner ground",
}


@dataclass(frozen=True, slots=True)
class Upright:
    """An element that stands between rows.

    ``rows`` in the order of the element's nodes, None for one at a supply or a ground.
    """

    element: Element
    x: float
    rows: tuple[str | None, ...]


@dataclass(frozen=True, slots=True)
class Flat:
    """An element that lies between a row's node and a supply or ground.

    ``end`` is the node at its outer end, ``turned`` tells that this is the element's first node.
    """

    element: Element | None
    row: str
    x: float
    y: float
    end: str
    turned: bool = False


@dataclass(frozen=True, slots=True)
class SidePlan:
    """One side of the picture; ``way`` is -1 for the control unit and 1 for the sensor."""

    way: int
    uprights: tuple[Upright, ...]
    flats: tuple[Flat, ...]
    reach: dict[str, float]  # how far out each row's line goes, x measured outwards

    def first(self, row: str) -> float:
        """How far out the line of an inner row begins."""
        standing = [upright.x for upright in self.uprights if row in upright.rows]
        return min([*standing, *(flat.x for flat in self.flats if flat.row == row)])

    @property
    def width(self) -> float:
        """Distance from the harness to the outermost flag."""
        columns = [upright.x for upright in self.uprights]
        outer = max([*columns, FIRST_COLUMN], default=FIRST_COLUMN)
        return max([outer, *(flat.x + BRANCH for flat in self.flats)]) + COLUMN_STEP


@dataclass(frozen=True, slots=True)
class Plan:
    """The whole picture: the height of each row, counted downwards, and the two sides."""

    family: Family
    y: dict[str, float]
    unit: SidePlan
    sensor: SidePlan

    @property
    def height(self) -> float:
        """Distance from the first row to the last line."""
        flats = (flat.y for side in (self.unit, self.sensor) for flat in side.flats)
        return max([*self.y.values(), *flats])


def plan_picture(family: Family) -> Plan:
    """Lay a family's circuit out."""
    unit, sensor = drawn_elements(family, "control-unit"), drawn_elements(family, "sensor")
    rows = rows_of(family)
    y, height = {}, 0.0
    for row in rows:
        y[row] = height
        lines = max(1, _count_flats(unit, row, family), _count_flats(sensor, row, family))
        height += lines * ROW_STEP
    return Plan(
        family, y, _side(family, unit, y, "control-unit"), _side(family, sensor, y, "sensor")
    )


def drawn_elements(family: Family, side: Side) -> list[Element]:
    """Elements of a side that a picture shows: not those between supplies and grounds alone."""
    rails = set(BUILT_IN_NODES)
    return [e for e in family.elements if e.side == side and not set(e.nodes) <= rails]


def row_of(family: Family, node: str, side: Side) -> str | None:
    """Row that a node lies on: the wire's name, the inner node's own, None for a flag."""
    if node in BUILT_IN_NODES:
        return None
    for wire in family.wires:
        if node == (wire.to if side == "control-unit" else wire.pin):
            return wire.name
    return f"{side}:{node}"


def rows_of(family: Family) -> list[str]:
    """Order the rows: the wires as in the file, inner nodes between the wires they hang on."""
    unit, sensor = drawn_elements(family, "control-unit"), drawn_elements(family, "sensor")
    rows = [wire.name for wire in family.wires]
    for elements in (unit, sensor):
        neighbours: dict[str, set[str]] = {}
        for element in elements:
            names = [row_of(family, node, element.side) for node in ends(element)]
            named = [name for name in names if name is not None]
            for name in named:
                neighbours.setdefault(name, set()).update(named)
        for name, others in neighbours.items():
            if name not in rows:
                beside = [rows.index(other) for other in others if other in rows]
                rows.insert(min(beside) + 1 if beside else len(rows), name)
    return rows


def ends(element: Element) -> tuple[str, ...]:
    """Nodes that an element is drawn between: not those that merely feed a contact."""
    return element.nodes[:2] if element.kind == "contact" else element.nodes


def _lies_flat(element: Element, row: str, family: Family) -> bool:
    names = [row_of(family, node, element.side) for node in ends(element)]
    return names.count(None) == len(names) - 1 and row in names


def _count_flats(elements: Sequence[Element], row: str, family: Family) -> int:
    return sum(_lies_flat(element, row, family) for element in elements)


def _side(family: Family, elements: Sequence[Element], y: dict[str, float], side: Side) -> SidePlan:
    standing = []
    for element in elements:
        names = [row_of(family, node, side) for node in ends(element)]
        if sum(name is not None for name in names) > 1:
            standing.append((element, tuple(names)))
    # Short ones first, boxes last: fewer lines cross a symbol.
    standing.sort(key=lambda pair: (_is_box(pair[0]), _span(pair[1], y)))
    columns: list[list[tuple[float, float]]] = []
    uprights = []
    for element, rows in standing:
        extent = _extent(rows, y)
        number = _free_column(columns, extent)
        columns[number].append(extent)
        uprights.append(Upright(element, FIRST_COLUMN + number * COLUMN_STEP, rows))
    behind = FIRST_COLUMN + len(columns) * COLUMN_STEP
    flats = _flats(family, elements, y, behind, side)
    reach: dict[str, float] = {}
    for upright in uprights:
        for place, row in enumerate(upright.rows):
            if row is None:
                continue
            is_wiper = upright.element.kind == "potentiometer" and place == 1
            reach[row] = max(reach.get(row, 0.0), upright.x - (WIPER if is_wiper else 0.0))
    for flat in flats:
        reach[flat.row] = max(reach.get(flat.row, 0.0), flat.x)
    return SidePlan(-1 if side == "control-unit" else 1, tuple(uprights), flats, reach)


def _flats(
    family: Family, elements: Sequence[Element], y: dict[str, float], x: float, side: Side
) -> tuple[Flat, ...]:
    flats: list[Flat] = []
    for row, top in y.items():
        wire = next((wire for wire in family.wires if wire.name == row), None)
        if wire is not None and side == "control-unit" and wire.to in BUILT_IN_NODES:
            flats.append(Flat(None, row, FIRST_COLUMN, top, wire.to))
            continue
        lying = [element for element in elements if _lies_flat(element, row, family)]
        for number, element in enumerate(lying):
            nodes = ends(element)
            names = [row_of(family, node, side) for node in nodes]
            outer = [node for node, name in zip(nodes, names, strict=True) if name is None]
            flats.append(
                Flat(element, row, x, top + number * ROW_STEP, " / ".join(outer), names[0] is None)
            )
    return tuple(flats)


def _is_box(element: Element) -> bool:
    return element.kind in {"ratiometric", "regulated"}


def _extent(rows: tuple[str | None, ...], y: dict[str, float]) -> tuple[float, float]:
    heights = [y[row] for row in rows if row is not None]
    return min(heights), max(heights) + (ROW_STEP / 2 if None in rows else 0.0)


def _span(rows: tuple[str | None, ...], y: dict[str, float]) -> float:
    low, high = _extent(rows, y)
    return round(high - low, 6)


def _free_column(columns: list[list[tuple[float, float]]], extent: tuple[float, float]) -> int:
    """First column in which nothing stands at this height; a new one where there is none."""
    for number, taken in enumerate(columns):
        if all(extent[1] < low or high < extent[0] for low, high in taken):
            return number
    columns.append([])
    return len(columns) - 1
