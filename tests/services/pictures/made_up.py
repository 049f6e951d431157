"""Made-up jobs and answers for every family, and what can be seen in a picture of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from xml.etree import ElementTree

from backprobe.families.faults import Fault, faults_of
from backprobe.families.loader import load_families
from backprobe.families.schema import Family
from backprobe.job.model import Connector, Indication, Job, Round, Terminal
from backprobe.services.answer import (
    Answer,
    CircuitAnswer,
    Estimate,
    FaultAnswer,
    Measurement,
    Misfit,
    TerminalAnswer,
)
from backprobe.services.pictures.text_fit import text_width

FAMILIES = load_families()
COLOURS = ("BK", "YE/BK", "WH", "GNYE", "OG", "VT/WH/RD", "", "PK")
NAMESPACE = "{http://www.w3.org/2000/svg}"


def family_named(name: str) -> Family:
    return next(family for family in FAMILIES if family.id == name)


def job_of(family: Family) -> Job:
    """A connector with as many wires as the family has, read unplugged and plugged in."""
    count = len(family.wires)
    pins = [str(number + 1) for number in range(count)]
    terminals = tuple(Terminal(pin, COLOURS[i]) for i, pin in enumerate(pins))
    volts = {pin: Indication(1.0 + i) for i, pin in enumerate(pins)}
    rounds = (
        Round("A", plugged=False, key="on", volts=volts, battery_volts=Indication(12.6)),
        Round("B", plugged=True, key="run", rpm=2500, volts=volts, hertz={"1": Indication(85.0)}),
    )
    return Job("job", Connector("made-up sensor", terminals=terminals), rounds=rounds)


def answer_of(
    family: Family,
    order: Sequence[int] | None = None,
    fault: Fault | None = None,
    *,
    probability: float = 0.97,
    fault_probability: float = 0.9,
) -> Answer:
    """An answer that is this sure of the family, of its wires in an order, and of a fault."""
    wires = [family.wires[i] for i in (order or range(len(family.wires)))]
    pin_of = {wire.name: str(number + 1) for number, wire in enumerate(wires)}
    terminals = tuple(
        TerminalAnswer(pin_of[w.name], w.role, probability, {w.role: probability}) for w in wires
    )
    pins = tuple(sorted(pin_of[name] for name in fault.wires)) if fault is not None else ()
    name = fault.name if fault is not None else "none"
    estimates = tuple(
        Estimate("thermistor resistance", "B", t.pin, 2810.0, 2620.0, 2880.0, "ohm")
        for t in terminals
        if t.role == "signal-thermistor"
    )
    return Answer(
        file="",
        terminals=terminals,
        circuits=(CircuitAnswer(family.title, probability),),
        faults=(FaultAnswer(name, fault_probability, pins),),
        measurement=Measurement(1.0, {"A": 1.0, "B": 1.0}),
        estimates=estimates,
        misfit=Misfit(1.0),
        reasons=(),
        next=(),
    )


def every_fault(family: Family) -> tuple[Fault, ...]:
    return faults_of(family)


@dataclass(frozen=True)
class Seen:
    """One piece of text as it stands in a picture."""

    words: str
    left: float
    right: float
    top: float
    bottom: float


def parsed(svg: str) -> ElementTree.Element:
    return ElementTree.fromstring(svg)  # noqa: S314 - our own text


def texts_of(svg: str) -> list[Seen]:
    """Every text with the room that it takes, by the reckoned widths."""
    found = []
    for element in parsed(svg).iter(f"{NAMESPACE}text"):
        words, size = element.text or "", float(element.attrib["font-size"])
        wide = text_width(words, size, bold=element.get("font-weight") == "bold")
        share = {"start": 0.0, "middle": 0.5, "end": 1.0}[element.get("text-anchor", "start")]
        left, y = float(element.attrib["x"]) - share * wide, float(element.attrib["y"])
        found.append(Seen(words, left, left + wide, y - 0.75 * size, y + 0.2 * size))
    return found


def all_words(svg: str) -> str:
    """The visible text, a space between pieces."""
    return " ".join(seen.words for seen in texts_of(svg))


def told(svg: str, tag: str) -> str:
    """The text of the picture's title or description."""
    element = parsed(svg).find(f"{NAMESPACE}{tag}")
    return (element.text or "") if element is not None else ""


def require_plain(svg: str) -> None:
    """A picture may go into a page under a strict content policy, twice, and into print."""
    root = parsed(svg)
    assert root.get("role") == "img"
    assert [child.tag for child in root][:2] == [f"{NAMESPACE}title", f"{NAMESPACE}desc"]
    allowed = {"svg", "title", "desc", "path", "rect", "circle", "text", "g"}
    for element in root.iter():
        assert element.tag.removeprefix(NAMESPACE) in allowed
        assert not {"style", "id", "href", "onload"} & set(element.attrib)
        assert not any(name.startswith(("{", "on")) for name in element.attrib)
    assert "url(" not in svg


def require_room(svg: str) -> None:
    """Every text lies within the picture, none on another, none smaller than 12."""
    _, _, width, height = (float(each) for each in parsed(svg).attrib["viewBox"].split())
    seen = texts_of(svg)
    for text in seen:
        assert text.left >= 0.0, text
        assert text.right <= width, text
        assert text.top >= 0.0, text
        assert text.bottom <= height, text
        assert text.bottom - text.top >= 0.949 * 12.0
    for number, one in enumerate(seen):
        for other in seen[number + 1 :]:
            apart = (
                one.right <= other.left
                or other.right <= one.left
                or one.bottom <= other.top
                or other.bottom <= one.top
            )
            assert apart, (one, other)
