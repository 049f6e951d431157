"""Does a family's netlist hang together? Nodes, wires, pins and switching elements."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence

from backprobe.families.element_kinds import ELEMENT_KINDS, is_switching
from backprobe.families.mistakes import MistakeList, Path, nearest
from backprobe.families.schema import (
    BUILT_IN_NODES,
    MOST_SWITCHING_ELEMENTS,
    Element,
    Wire,
)

# A sensor reaches the vehicle through its wires and, where its shell is bolted on, the engine.
_SENSOR_NODES = ("battery-",)
# Roles of wires that may end at the connector: nothing of the sensor is on them.
_MAY_END = ("shield", "not-used")


def check_circuit(
    wires: Sequence[Wire],
    elements: Sequence[Element],
    paths: Mapping[str, Path],
    mistakes: MistakeList,
) -> None:
    """Note every mistake of a netlist whose tables are sound by themselves.

    Parameters
    ----------
    wires, elements
        As read, with the common elements.
    paths
        Where each of the family's own elements stands in the document.
    mistakes
        Collects what is found.
    """
    _check_nodes(wires, elements, paths, mistakes)
    _check_wires(wires, elements, mistakes)
    switching = [element for element in elements if is_switching(element.kind, element.parameters)]
    if len(switching) > MOST_SWITCHING_ELEMENTS:
        names = ", ".join(f'"{element.name}"' for element in switching)
        said = f"{len(switching)} elements switch: {names}."
        remedy = f"At most {MOST_SWITCHING_ELEMENTS} may. Put the others into another family."
        mistakes.add(paths[switching[-1].name], said, remedy)


def _check_nodes(
    wires: Sequence[Wire],
    elements: Sequence[Element],
    paths: Mapping[str, Path],
    mistakes: MistakeList,
) -> None:
    pins, ends = {wire.pin for wire in wires}, {wire.to for wire in wires}
    for side, outside in (
        ("control-unit", {*BUILT_IN_NODES, *ends}),
        ("sensor", {*_SENSOR_NODES, *pins}),
    ):
        own = [element for element in elements if element.side == side and element.name in paths]
        uses = Counter(node for element in own for node in element.nodes)
        inner = {node for node, count in uses.items() if count > 1 and "." not in node}
        inner -= {wire.name for wire in wires} | set(BUILT_IN_NODES)
        known = outside | inner
        for element in own:
            for index, node in enumerate(element.nodes):
                if node not in known:
                    path = (*paths[element.name], *_node_path(element, index))
                    said = f"\"{node}\" isn't a node that the {side.replace('-', ' ')}'s side has."
                    mistakes.add(path, said, nearest(node, known))


def _node_path(element: Element, index: int) -> Path:
    return (ELEMENT_KINDS[element.kind].node_key(index),)


def _check_wires(wires: Sequence[Wire], elements: Sequence[Element], mistakes: MistakeList) -> None:
    fed = {node for element in elements if element.side == "control-unit" for node in element.nodes}
    touched = {node for element in elements if element.side == "sensor" for node in element.nodes}
    for index, wire in enumerate(wires):
        if wire.to not in fed | set(BUILT_IN_NODES):
            said = f'The wire "{wire.name}" goes to "{wire.to}", which nothing feeds.'
            mistakes.add(("wire", index, "to"), said, nearest(wire.to, fed | set(BUILT_IN_NODES)))
        if wire.pin not in touched and wire.role not in _MAY_END:
            said = f'Nothing of the sensor is on "{wire.pin}".'
            remedy = "Name it in an element under [[sensor]]."
            mistakes.add(("wire", index, "name"), said, remedy)
