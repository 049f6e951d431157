"""Draws a family's circuit in plain characters, for a terminal."""

from __future__ import annotations

from backprobe.families.draw_plan import FLAGS, drawn_elements, ends, row_of, rows_of
from backprobe.families.element_kinds import ELEMENT_KINDS
from backprobe.families.schema import BUILT_IN_NODES, Element, Family, Side
from backprobe.families.wording import element_words


def draw_text(family: Family) -> str:
    """Draw wires as lines with the elements that hang on them, and list the elements below.

    An element between two wires is shown on both.
    """
    names = {wire.name for wire in family.wires}
    lines: list[tuple[str, str, str]] = []
    for row in rows_of(family):
        left = _cells(family, row, "control-unit")
        right = _cells(family, row, "sensor")
        title = row if row in names else f"({row.split(':', 1)[1]})"
        for number in range(max(len(left), len(right), 1)):
            cell = left[number] if number < len(left) else ""
            other = right[number] if number < len(right) else ""
            lines.append((cell, title if number == 0 else "", other))
    width = max(len(left) for left, _, _ in lines)
    middle = max(len(title) for _, title, _ in lines)
    drawn = [_line(left, title, right, width, middle) for left, title, right in lines]
    head = f"{'control unit':>{width}}   {'wire':^{middle + 6}}   sensor"
    return "\n".join([head, *drawn, "", *_legend(family)]) + "\n"


def _line(left: str, title: str, right: str, width: int, middle: int) -> str:
    is_wire = bool(title) and not title.startswith("(")  # else a point inside, or none
    wire = f" {title} ".center(middle + 6, "-" if is_wire else " ") if title else ""
    joint_left = "--+" if left else ("  +" if is_wire else "   ")
    joint_right = "+--" if right else ("+" if is_wire else "")
    wire = wire or " " * (middle + 6)
    return f"{left:>{width}}{joint_left}{wire}{joint_right}{right}".rstrip()


def _cells(family: Family, row: str, side: Side) -> list[str]:
    cells = []
    for element in drawn_elements(family, side):
        nodes = ends(element)
        rows = [row_of(family, node, side) for node in nodes]
        if row not in rows:
            continue
        place = rows.index(row)
        others = [_name(family, node, side) for n, node in enumerate(nodes) if n != place]
        far = ", ".join(others)
        symbol = f"[{_ending(element, place)}{element.name}]"
        cells.append(f"{far} --{symbol}" if side == "control-unit" else f"{symbol}-- {far}")
    wire = next((wire for wire in family.wires if wire.name == row), None)
    if wire is not None and side == "control-unit" and wire.to in BUILT_IN_NODES:
        cells.insert(0, f"{FLAGS[wire.to]} ")
    return cells


def _ending(element: Element, place: int) -> str:
    """Which end of an element with unlike ends this is."""
    if element.kind in {"ratiometric", "regulated"}:
        return ("out of ", "+ of ", "- of ")[place]
    if element.kind == "potentiometer":
        return ("end of ", "wiper of ", "end of ")[place]
    return ""


def _name(family: Family, node: str, side: Side) -> str:
    row = row_of(family, node, side)
    if row is None:
        return FLAGS[node]
    return row if ":" not in row else f"({row.split(':', 1)[1]})"


def _legend(family: Family) -> list[str]:
    elements = [*drawn_elements(family, "control-unit"), *drawn_elements(family, "sensor")]
    width = max(len(element.name) for element in elements)
    lines = []
    for element in elements:
        words = [ELEMENT_KINDS[element.kind].meaning, element_words(family, element)]
        if element.only_if is not None:
            words.append(f"only if {element.only_if[0]} is {element.only_if[1]}")
        lines.append(f"  {element.name:<{width}}  {', '.join(word for word in words if word)}")
    return lines
