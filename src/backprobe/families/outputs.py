"""What moves the output on a wire: the sensor's elements there and their driven quantities."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from backprobe.families.element_kinds import ELEMENT_KINDS
from backprobe.families.schema import Driven, Element


def signals(driven: Mapping[str, Driven]) -> set[str]:
    """Driven quantities that carry what is measured; how warm a cell is, is none of them."""
    return {name for name, each in driven.items() if each.unit != "ohm"}


def moved_elements(
    elements: Iterable[Element], driven: Mapping[str, Driven], pin: str
) -> tuple[Element, ...]:
    """Elements of the sensor whose driven quantities move what comes out at a pin.

    Those at the pin itself; where none of them moves, those behind points inside the sensor that
    hang on it (a current sensor's switch).
    """
    wanted = signals(driven)
    for here in _ever_further(elements, pin):
        moving = tuple(e for e in here if wanted & set(e.parameters.values()))
        if moving:
            return moving
    return ()


def sensor_behind(elements: Iterable[Element], pin: str) -> tuple[Element, ...]:
    """Elements of the sensor at a pin and at the points inside that hang on it."""
    return list(_ever_further(elements, pin))[-1]


def _ever_further(elements: Iterable[Element], pin: str) -> Iterator[tuple[Element, ...]]:
    """Elements of the sensor at a pin, then with those at the points inside that hang on them."""
    sensor = [element for element in elements if element.side == "sensor"]
    reached, more = set[str](), {pin}
    while more:
        reached |= more
        here = tuple(e for e in sensor if reached & set(_ends(e)))
        yield here
        more = {node for e in here for node in _ends(e) if _is_inside(node)} - reached


def can_drift(elements: Iterable[Element], driven: Mapping[str, Driven], pin: str) -> bool:
    """Tell whether what comes out at a pin can be wrong by a little.

    A bare contact's can, by its own resistance, that of a transistor can't.
    """
    mine = moved_elements(elements, driven, pin)
    if any(e.kind in ("thermistor", "platinum") or is_bare_contact(e) for e in mine):
        return True
    names = {name for e in mine for name in e.parameters.values()} & signals(driven)
    return any(_is_continuous(driven[name]) for name in names)


def is_bare_contact(element: Element) -> bool:
    """Tell whether an element is a contact of metal, which burns and corrodes."""
    return element.kind == "contact" and element.passive


def _is_continuous(driven: Driven) -> bool:
    priors = [driven.always] if driven.always is not None else list(driven.states.values())
    return any(prior.kind not in ("choice", "fixed") for prior in priors)


def _ends(element: Element) -> tuple[str, ...]:
    """Nodes that the element drives; those that only feed or steer it are left out."""
    kind = ELEMENT_KINDS[element.kind]
    return element.nodes[: len(kind.between)] if kind.between else element.nodes[:1]


def _is_inside(node: str) -> bool:
    return not node.endswith(".pin") and node != "battery-"
