"""Draws a family's circuit as an SVG picture."""

from __future__ import annotations

import html
from collections.abc import Callable
from typing import Literal

import schemdraw
from schemdraw import elements as parts
from schemdraw.segments import SegmentPoly

from backprobe.families.draw_plan import (
    BRANCH,
    FLAGS,
    HARNESS,
    ROW_STEP,
    WIPER,
    Flat,
    Plan,
    SidePlan,
    Upright,
    plan_picture,
)
from backprobe.families.schema import Element, Family
from backprobe.families.wording import element_words

_SYMBOLS: dict[str, type[schemdraw.elements.Element2Term]] = {
    "resistor": parts.ResistorIEC,
    "source": parts.SourceV,
    "sink": parts.SourceI,
    "thermistor": parts.Thermistor,
    "platinum": parts.ResistorVarIEC,
    "contact": parts.Switch,
    "potentiometer": parts.ResistorIEC,
    "coil": parts.Inductor2,
    "cell": parts.BatteryCell,
}
_Halign = Literal["left", "center", "right"]
_Valign = Literal["top", "center", "bottom"]
_Style = Literal["-", "--"]
_SYMBOL = 1.2  # length of an upright symbol
_BOX = 4.1  # width of an output's box
_SMALL, _NORMAL = 9, 11


def draw_svg(family: Family) -> str:
    """Draw a family's circuit: control unit left, harness in the middle, sensor right."""
    plan = plan_picture(family)
    schemdraw.use("svg")
    with schemdraw.Drawing(show=False, fontsize=_NORMAL, font="sans-serif", margin=1.0) as drawing:
        _harness(drawing, plan)
        for side in (plan.unit, plan.sensor):
            origin = 0.0 if side.way < 0 else HARNESS
            _side(drawing, plan, side, origin)
    svg = drawing.get_imagedata("svg").decode("utf-8")
    title = html.escape(f"{family.title} ({family.id})")
    start = svg.index(">", svg.index("<svg")) + 1
    return f"{svg[:start]}<title>{title}</title>{svg[start:]}"


def _harness(drawing: schemdraw.Drawing, plan: Plan) -> None:
    for wire in plan.family.wires:
        y = -plan.y[wire.name]
        drawing += parts.Line().at((0.0, y)).to((HARNESS, y)).linewidth(3)
        drawing += _text(wire.name, (HARNESS / 2, y + 0.3), size=_NORMAL)
        drawing += _text(wire.role, (HARNESS / 2, y - 0.25), size=_SMALL)
        drawing += parts.Dot(open=True).at((HARNESS, y))
    foot = -plan.height - ROW_STEP / 2
    drawing += _text("control unit", (-plan.unit.width / 2, ROW_STEP), size=_NORMAL + 3)
    drawing += _text("harness", (HARNESS / 2, ROW_STEP), size=_NORMAL + 3)
    drawing += _text("sensor", (HARNESS + plan.sensor.width / 2, ROW_STEP), size=_NORMAL + 3)
    for x in (0.0, HARNESS):
        drawing += parts.Line().at((x, ROW_STEP)).to((x, foot)).linestyle(":")


def _side(drawing: schemdraw.Drawing, plan: Plan, side: SidePlan, origin: float) -> None:
    def place(outwards: float) -> float:
        return origin + side.way * outwards

    for row, reach in side.reach.items():
        wires = {wire.name for wire in plan.family.wires}
        start = 0.0 if row in wires else side.first(row)
        y = -plan.y[row]
        if reach > start:
            drawing += parts.Line().at((place(start), y)).to((place(reach), y))
    for upright in side.uprights:
        _upright(drawing, plan, upright, place(upright.x), side.way)
    for flat in side.flats:
        _flat(drawing, plan, side, flat, place)


def _upright(drawing: schemdraw.Drawing, plan: Plan, upright: Upright, x: float, way: int) -> None:
    element = upright.element
    if element.kind in {"ratiometric", "regulated"}:
        _box(drawing, plan, upright, x, way)
        return
    heights = _heights(plan, upright)
    first, last = heights[0], heights[-1]
    top, bottom = max(first, last), min(first, last)
    # In the gap below the upper row, so that other rows cross a plain line and no symbol.
    gap = (ROW_STEP - _SYMBOL) / 2
    start, end = top - gap, top - gap - _SYMBOL
    style: _Style = "--" if element.only_if else "-"
    drawing += parts.Line().at((x, top)).to((x, start)).linestyle(style)
    symbol = _SYMBOLS[element.kind]()
    ends = ((x, start), (x, end)) if first > last else ((x, end), (x, start))
    ends = ends[::-1] if element.kind == "source" else ends  # its plus is where it ends
    drawing += symbol.endpoints(*ends).linestyle(style)
    drawing += parts.Line().at((x, end)).to((x, bottom)).linestyle(style)
    for row, y in ((upright.rows[0], first), (upright.rows[-1], last)):
        drawing += parts.Dot(open=row is None).at((x, y))
        if row is None:
            _flag(drawing, element, (x, y - 0.3), "center")
    halign: _Halign = "right" if way < 0 else "left"
    _label(drawing, plan.family, element, (x + way * 0.7, (start + end) / 2), halign)
    if element.kind == "potentiometer":
        middle = (start + end) / 2
        wiper = heights[1]
        turn = x - way * WIPER
        drawing += parts.Arrow().at((turn, middle)).to((x - way * 0.2, middle))
        drawing += parts.Line().at((turn, middle)).to((turn, wiper))
        drawing += parts.Dot().at((turn, wiper))


def _box(drawing: schemdraw.Drawing, plan: Plan, upright: Upright, x: float, way: int) -> None:
    heights = _heights(plan, upright)
    top, bottom = max(heights) + 0.5, min(heights) - 0.5
    inner, outer = sorted((x, x + way * _BOX))
    drawing += _rectangle((inner, bottom), (outer, top))
    names = zip(upright.rows, upright.element.nodes, ("out", "+", "-"), heights, strict=True)
    for row, node, name, y in names:
        words = name if row is not None else f"{name} {FLAGS.get(node, node)}"
        where = (x + way * 0.2, y)
        drawing += _text(words, where, size=_SMALL, halign="right" if way < 0 else "left")
    middle = (x + way * _BOX / 2, (top + bottom) / 2 - 0.3)
    _label(drawing, plan.family, upright.element, middle, "center")


def _heights(plan: Plan, upright: Upright) -> list[float]:
    """Height of each end; one at a supply or ground hangs below the lowest row."""
    on_rows = [-plan.y[row] for row in upright.rows if row is not None]
    below = min(on_rows) - (ROW_STEP if len(on_rows) == 1 else ROW_STEP / 2)
    return [below if row is None else -plan.y[row] for row in upright.rows]


def _flag(
    drawing: schemdraw.Drawing, element: Element, where: tuple[float, float], halign: _Halign
) -> None:
    flags = [FLAGS[node] for node in element.nodes if node in FLAGS]
    drawing += _text(" / ".join(flags), where, size=_NORMAL, halign=halign)


def _flat(
    drawing: schemdraw.Drawing,
    plan: Plan,
    side: SidePlan,
    flat: Flat,
    place: Callable[[float], float],
) -> None:
    y, top = -flat.y, -plan.y[flat.row]
    x, far = place(flat.x), place(flat.x + BRANCH)
    if y != top:
        drawing += parts.Line().at((x, top)).to((x, y))
        drawing += parts.Dot().at((x, top))
    element = flat.element
    if element is None:
        far = x
    else:
        _flat_symbol(drawing, plan.family, element, (x, y), (far, y), flat.turned)
    flag = " / ".join(FLAGS.get(node, node) for node in flat.end.split(" / "))
    side_of: _Halign = "right" if side.way < 0 else "left"
    drawing += parts.Dot(open=True).at((far, y))
    drawing += _text(flag, (far + side.way * 0.25, y), size=_NORMAL, halign=side_of)


def _flat_symbol(
    drawing: schemdraw.Drawing,
    family: Family,
    element: Element,
    near: tuple[float, float],
    far: tuple[float, float],
    turned: bool,
) -> None:
    middle = ((near[0] + far[0]) / 2, near[1])
    if element.kind in {"ratiometric", "regulated"}:
        drawing += parts.Line().at(near).to(far)
        drawing += _rectangle((middle[0] - 0.6, near[1] - 0.3), (middle[0] + 0.6, near[1] + 0.3))
    else:
        symbol = _SYMBOLS[element.kind]()
        # The plus of a source's symbol is where it ends, not where it starts.
        start, end = (far, near) if turned != (element.kind == "source") else (near, far)
        drawing += symbol.endpoints(start, end)
    _label(
        drawing,
        family,
        element,
        (middle[0], middle[1] + (0.8 if element.kind == "source" else 0.55)),
        "center",
        valign="bottom",
    )


def _rectangle(low: tuple[float, float], high: tuple[float, float]) -> schemdraw.elements.Element:
    """Make a box that hides the lines behind it (the library's own lies at the bottom)."""
    corners = [low, (low[0], high[1]), high, (high[0], low[1])]
    box = schemdraw.elements.Element().at((0, 0)).theta(0)
    box.segments.append(SegmentPoly(corners, closed=True, fill="white", zorder=2))
    return box


def _label(
    drawing: schemdraw.Drawing,
    family: Family,
    element: Element,
    where: tuple[float, float],
    halign: _Halign,
    valign: _Valign = "center",
) -> None:
    lines = [element.name, *element_words(family, element).split(" behind ")]
    if element.only_if is not None:
        lines.append(f"if {element.only_if[0]}: {element.only_if[1]}")
    drawing += _text("\n".join(lines), where, size=_SMALL, halign=halign, valign=valign)


def _text(
    words: str,
    where: tuple[float, float],
    *,
    size: float,
    halign: _Halign = "center",
    valign: _Valign = "center",
) -> schemdraw.elements.Element:
    # The middle of a label stands a fifth of a unit above the place that it is given.
    label: schemdraw.elements.Element = parts.Label()
    label.at((where[0], where[1] - 0.2 * size / _NORMAL)).theta(0)
    label.label(words, fontsize=size, halign=halign, valign=valign, ofst=0, loc="center")
    return label
