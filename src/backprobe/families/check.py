"""Checks that a family's netlist hangs together: nodes, wires, pins and switching elements."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from itertools import product

from backprobe.families.element_kinds import ELEMENT_KINDS, is_switching
from backprobe.families.mistakes import MistakeList, Path, nearest
from backprobe.families.schema import (
    BUILT_IN_NODES,
    MOST_SWITCHING_ELEMENTS,
    Driven,
    Element,
    Prior,
    Side,
    Wire,
    options_of,
)

# A sensor reaches the vehicle through its wires and, where its shell is bolted on, the engine.
_SENSOR_NODES = ("battery-",)
# Roles of wires that may end at the connector: nothing of the sensor is on them.
_MAY_END = ("shield", "not-used")


def check_circuit(
    wires: Sequence[Wire],
    elements: Sequence[Element],
    values: Mapping[str, Prior | Driven],
    paths: Mapping[str, Path],
    mistakes: MistakeList,
) -> None:
    """Note every mistake of a netlist whose tables are sound by themselves.

    Parameters
    ----------
    wires, elements, values
        As read, with the common elements, values and driven quantities.
    paths
        Where each of the family's own elements stands in the document.
    mistakes
        Collects what is found.
    """
    own = [element for element in elements if element.name in paths]
    _check_nodes(wires, own, paths, mistakes)
    _check_wires(wires, elements, mistakes)
    _check_switching(elements, paths, mistakes)
    if not mistakes.found:
        _check_floating(wires, own, values, paths, mistakes)


def _known_nodes(side: Side, wires: Sequence[Wire], own: Sequence[Element]) -> set[str]:
    """Nodes that elements of a side may name: those given, and inner ones named twice or more."""
    if side == "sensor":
        outside = {*_SENSOR_NODES, *(wire.pin for wire in wires)}
    else:
        outside = {*BUILT_IN_NODES, *(wire.to for wire in wires)}
    uses = Counter(node for element in own if element.side == side for node in element.nodes)
    inner = {node for node, count in uses.items() if count > 1 and "." not in node}
    return outside | (inner - {wire.name for wire in wires} - set(BUILT_IN_NODES))


def _check_nodes(
    wires: Sequence[Wire],
    own: Sequence[Element],
    paths: Mapping[str, Path],
    mistakes: MistakeList,
) -> None:
    sides: tuple[Side, Side] = ("control-unit", "sensor")
    known = {side: _known_nodes(side, wires, own) for side in sides}
    for element in own:
        for index, node in enumerate(element.nodes):
            if node not in known[element.side]:
                key = ELEMENT_KINDS[element.kind].node_key(index)
                side = element.side.replace("-", " ")
                said = f"\"{node}\" isn't a node of the {side}'s side."
                remedy = nearest(node, known[element.side])
                mistakes.add((*paths[element.name], key), said, remedy)


def _check_wires(wires: Sequence[Wire], elements: Sequence[Element], mistakes: MistakeList) -> None:
    fed = {node for element in elements if element.side == "control-unit" for node in element.nodes}
    fed |= set(BUILT_IN_NODES)
    touched = {node for element in elements if element.side == "sensor" for node in element.nodes}
    for index, wire in enumerate(wires):
        if wire.to not in fed and wire.role not in _MAY_END:
            said = f'The wire "{wire.name}" goes to "{wire.to}", which nothing feeds.'
            mistakes.add(("wire", index, "to"), said, nearest(wire.to, fed))
        if wire.pin not in touched and wire.role not in _MAY_END:
            said = f'Nothing of the sensor is on "{wire.pin}".'
            remedy = "Name it in an element under [[sensor]]."
            mistakes.add(("wire", index, "name"), said, remedy)


def _check_switching(
    elements: Sequence[Element], paths: Mapping[str, Path], mistakes: MistakeList
) -> None:
    switching = [element for element in elements if is_switching(element.kind, element.parameters)]
    if len(switching) > MOST_SWITCHING_ELEMENTS:
        names = ", ".join(f'"{element.name}"' for element in switching)
        said = f"{len(switching)} elements switch: {names}."
        remedy = f"At most {MOST_SWITCHING_ELEMENTS} may. Put the others into another family."
        mistakes.add(paths[switching[-1].name], said, remedy)


def _check_floating(
    wires: Sequence[Wire],
    own: Sequence[Element],
    values: Mapping[str, Prior | Driven],
    paths: Mapping[str, Path],
    mistakes: MistakeList,
) -> None:
    """Note nodes that no element ties to the rest, under any of the family's choices."""
    ends = {*BUILT_IN_NODES, *(wire.to for wire in wires), *(wire.pin for wire in wires)}
    for chosen in _choices(own, values):
        there = [e for e in own if e.only_if is None or chosen[e.only_if[0]] == e.only_if[1]]
        tied = set(ends)
        while True:
            # What an output's supply or an output's feed draws is an element of its own.
            pairs = [_conducting(element) for element in there]
            more = {node for pair in pairs if tied & set(pair) for node in pair} - tied
            if not more:
                break
            tied |= more
        for element in there:
            loose = [node for node in element.nodes if node not in tied]
            if loose:
                case = " and ".join(f'{name} is "{word}"' for name, word in chosen.items())
                said = f'Nothing holds the node "{loose[0]}"' + (f" when {case}." if case else ".")
                remedy = "Put an element between it and a wire's node or a supply."
                mistakes.add(paths[element.name], said, remedy)
                return


def _conducting(element: Element) -> tuple[str, ...]:
    """Nodes that current flows between; supply and ground of a fed output only steer it."""
    kind = ELEMENT_KINDS[element.kind]
    if kind.between:
        return element.nodes[: len(kind.between)]
    return element.nodes[0], element.nodes[2]


def _choices(
    own: Sequence[Element], values: Mapping[str, Prior | Driven]
) -> Iterator[Mapping[str, str]]:
    names = sorted({element.only_if[0] for element in own if element.only_if is not None})
    words = [options_of(values[name]) for name in names]
    for combination in product(*words):
        yield dict(zip(names, combination, strict=True))
