"""The picture of a circuit: every wire, every reading, the fault at its place, nothing on top."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backprobe.families.faults import Fault
from backprobe.families.schema import Family
from backprobe.job.model import Connector, Indication, Job, Round, Terminal
from backprobe.services.answer import (
    CircuitAnswer,
    Estimate,
    FaultAnswer,
    Measurement,
    Misfit,
    TerminalAnswer,
)
from backprobe.services.pictures import circuit_picture
from backprobe.services.pictures.canvas import FAULT
from backprobe.services.words import role_words
from backprobe.vocabulary import FAULT_KINDS
from tests.services.pictures.made_up import (
    FAMILIES,
    all_words,
    answer_of,
    every_fault,
    family_named,
    job_of,
    parsed,
    require_plain,
    require_room,
    told,
)

THERMISTOR = family_named("thermistor-two-wire")
PEDAL = family_named("pedal-free-six-wire")


def squeezed(words: str) -> str:
    return "".join(words.split())


@pytest.mark.parametrize("family", FAMILIES, ids=lambda family: family.id)
def test_every_family_is_drawn_with_all_its_wires(family: Family) -> None:
    job, answer = job_of(family), answer_of(family)
    svg = circuit_picture(job, answer)
    require_plain(svg)
    require_room(svg)
    words = all_words(svg)
    assert family.title in squeezed_back(words, family.title)
    for terminal in job.connector.terminals:
        assert f" {terminal.pin} " in f" {words} "
        assert (terminal.colour or "colour not noted") in words
    for wire in family.wires:
        assert squeezed(role_words(wire.role)) in squeezed(words)
    assert words.count("A unplugged, key on") == len(family.wires)
    assert "85 Hz" in words


def squeezed_back(words: str, wanted: str) -> str:
    """The words, with line breaks inside the wanted ones undone."""
    return wanted if squeezed(wanted) in squeezed(words) else words


@pytest.mark.parametrize("family", FAMILIES, ids=lambda family: family.id)
def test_every_fault_is_marked_in_words_and_told(family: Family) -> None:
    count = len(family.wires)
    order = [*range(1, count, 2), *range(0, count, 2)]  # parts that reach over other wires
    job = job_of(family)
    for fault in every_fault(family):
        svg = circuit_picture(job, answer_of(family, order, fault))
        words = all_words(svg)
        require_room(svg)
        if fault.kind == "none":
            assert "No fault in this circuit" in words
            assert FAULT not in svg
        else:
            assert "FAULT:" in words
            assert FAULT in svg
            assert "Most probable fault:" in words
            assert "FAULT:" in told(svg, "desc")


@given(
    st.sampled_from(FAMILIES).flatmap(
        lambda family: st.tuples(
            st.just(family),
            st.permutations(range(len(family.wires))),
            st.sampled_from(every_fault(family)),
        )
    ),
    st.sampled_from([0.5, 0.97]),
    st.sampled_from([300, 720, 900]),
)
@settings(max_examples=60, deadline=None)
def test_no_text_leaves_the_picture_or_covers_another(
    case: tuple[Family, list[int], Fault], probability: float, width: int
) -> None:
    family, order, fault = case
    answer = answer_of(family, order, fault, probability=probability)
    svg = circuit_picture(job_of(family), answer, width=width)
    require_plain(svg)
    require_room(svg)


@pytest.mark.parametrize(
    ("kind", "words"),
    [
        ("open", "broken or no contact here"),
        ("resistance", "unwanted resistance here"),
        ("short-to-battery", "touches battery voltage"),
        ("control-unit-input", "pull-up, bias or input in here"),
        ("sensor-shorted", "shorted inside"),
        ("sensor-drift", "output off its curve"),
        ("swapped", "wires exchanged with terminal"),
    ],
)
def test_a_fault_says_what_it_is_at_its_place(kind: str, words: str) -> None:
    fault = next(f for f in every_fault(THERMISTOR) if f.kind == kind)
    svg = circuit_picture(job_of(THERMISTOR), answer_of(THERMISTOR, None, fault))
    assert squeezed(words) in squeezed(all_words(svg))


def test_every_kind_of_fault_has_a_place() -> None:
    job = job_of(PEDAL)
    for kind in FAULT_KINDS:
        if kind == "none":
            continue
        fault = replace(Fault(kind, "signal-1", "signal-analogue"), other="signal-2")
        svg = circuit_picture(job, answer_of(PEDAL, None, fault))
        assert "FAULT:" in all_words(svg), kind


def test_a_fault_that_is_less_likely_than_not_is_not_marked() -> None:
    fault = next(f for f in every_fault(THERMISTOR) if f.kind == "open")
    answer = answer_of(THERMISTOR, None, fault, fault_probability=0.49)
    svg = circuit_picture(job_of(THERMISTOR), answer)
    assert "FAULT" not in all_words(svg)
    assert "No single fault is more likely than not." in all_words(svg)


def test_added_resistance_and_estimates_stand_with_their_intervals() -> None:
    fault = next(f for f in every_fault(THERMISTOR) if f.name == "resistance:signal-thermistor")
    answer = answer_of(THERMISTOR, None, fault)
    pin = answer.faults[0].terminals[0]
    more = (
        Estimate("added resistance", "", pin, 32_100.0, 22_400.0, 47_700.0, "ohm"),
        Estimate("pull-up resistance", "", pin, 2200.0, 2150.0, 2250.0, "ohm"),
        Estimate("thermistor temperature", "B", pin, 21.9, 19.1, 25.7, "celsius"),
    )
    answer = replace(answer, estimates=(*answer.estimates, *more))
    words = squeezed(all_words(circuit_picture(job_of(THERMISTOR), answer)))
    for wanted in (
        "32.1 kohm (22.4 to 47.7)",
        "2.2 kohm (2.15 to 2.25)",
        "2.81 kohm (2.62 to 2.88)",
        "21.9 °C (19.1 to 25.7)",
    ):
        assert squeezed(wanted) in words


def test_an_undecided_wire_shows_its_two_likeliest_roles() -> None:
    answer = answer_of(THERMISTOR)
    shares = {"signal-switch": 0.12, "signal-thermistor": 0.5, "signal-analogue": 0.38}
    unsure = TerminalAnswer("1", "signal-thermistor", 0.5, shares)
    answer = replace(answer, terminals=(unsure, *answer.terminals[1:]))
    words = all_words(circuit_picture(job_of(THERMISTOR), answer))
    assert "? thermistor signal 50 %" in words
    assert "or signal, a voltage 38 %" in words
    assert "switch signal" not in words
    assert "not decided yet" in words


def test_an_undecided_circuit_is_drawn_in_dashes_and_said_to_be_open() -> None:
    answer = answer_of(THERMISTOR, probability=0.45)
    other = CircuitAnswer("switch to ground", 0.40)
    svg = circuit_picture(job_of(THERMISTOR), replace(answer, circuits=(*answer.circuits, other)))
    assert "kind of circuit not decided" in told(svg, "title")
    assert "switch to ground (as likely as not, 40 %)" in all_words(svg)
    assert "stroke-dasharray" in svg


def test_a_circuit_that_no_family_explains_is_drawn_from_its_roles() -> None:
    answer = replace(answer_of(THERMISTOR), circuits=(CircuitAnswer("something new", 0.9),))
    words = squeezed(all_words(circuit_picture(job_of(THERMISTOR), answer)))
    assert squeezed("pull-up to the supply") in words
    assert squeezed("sensor: its inside is not known") in words


def test_without_readings_and_without_an_answer() -> None:
    bare = replace(job_of(PEDAL), rounds=())
    for answer in (answer_of(PEDAL), None):
        svg = circuit_picture(bare, answer)
        require_plain(svg)
        require_room(svg)
        assert all(f" {pin} " in f" {all_words(svg)} " for pin in bare.connector.pins)
    assert "circuit not worked out yet" in told(circuit_picture(bare, None), "title")


def test_an_answer_older_than_the_terminals_is_no_error() -> None:
    job = job_of(THERMISTOR)
    renamed = Connector("new", terminals=(Terminal("A"), Terminal("B"), Terminal("C")))
    require_room(circuit_picture(replace(job, connector=renamed), answer_of(THERMISTOR)))


def test_the_latest_round_of_a_state_counts_and_a_void_one_does_not() -> None:
    job = job_of(THERMISTOR)

    def again(name: str, volts: float, void: str = "") -> Round:
        shown = {"1": Indication(volts)}
        return Round(name, plugged=False, key="on", volts=shown, void=void)

    job = replace(job, rounds=(*job.rounds, again("C", 4.97), again("D", 9.99, "wrong pin")))
    words = all_words(circuit_picture(job, answer_of(THERMISTOR)))
    assert "C unplugged, key on 4.97 V" in words
    assert "9.99 V" not in words
    assert words.count("A unplugged, key on") == 1  # at the other terminal


def test_doubted_rounds_and_readings_are_said_to_be_doubted() -> None:
    answer = replace(
        answer_of(THERMISTOR),
        measurement=Measurement(0.1, {"A": 0.1, "B": 1.0}),
        misfit=Misfit(1e-6, ("B volts 2",)),
    )
    words = all_words(circuit_picture(job_of(THERMISTOR), answer))
    assert words.count("A unplugged, key on (doubted)") == 2
    assert words.count("(doubted)") == 3
    assert "round A is doubted" in words
    assert "B: volts at 2" in words


def test_wires_with_the_same_job_are_said_to_be_exchangeable() -> None:
    words = all_words(circuit_picture(job_of(PEDAL), answer_of(PEDAL)))
    assert "terminals 1 and 4; terminals 2 and 5; terminals 3 and 6" in words
    # Exchanged leads of a motor make the same drawing.
    motor = family_named("throttle-body-six-wire")
    assert "exchanged" not in all_words(circuit_picture(job_of(motor), answer_of(motor)))


def test_a_cavity_with_nothing_on_it_stays_in_the_picture() -> None:
    job, answer = job_of(THERMISTOR), answer_of(THERMISTOR)
    more = Connector("c", terminals=(*job.connector.terminals, Terminal("3")))
    unused = TerminalAnswer("3", "not-used", 0.9, {"not-used": 0.9})
    answer = replace(answer, terminals=(*answer.terminals, unused))
    words = all_words(circuit_picture(replace(job, connector=more), answer))
    assert "nothing on it" in words


def test_ohms_of_the_sensor_alone_and_a_load_are_shown() -> None:
    job = job_of(THERMISTOR)
    loaded = replace(
        job.rounds[0],
        volts_loaded={"1": Indication(1.56)},
        sensor_ohms={("1", "2"): Indication(float("inf"), over_range=True)},
    )
    words = all_words(circuit_picture(replace(job, rounds=(loaded,)), answer_of(THERMISTOR)))
    assert "with 1 kohm to ground 1.56 V" in words
    assert "1 to 2: OL (A)" in words


NASTY = '</text><script>alert("x")</script>&\x00\x1b\ud800 ]]>'


def test_nothing_written_in_a_job_becomes_markup() -> None:
    terminals = (Terminal("1", NASTY), Terminal('"', "YE"))
    volts = {"1": Indication(1.0), '"': Indication(2.0)}
    rounds = (Round(NASTY, plugged=True, key=NASTY, volts=volts, action=NASTY),)
    job = Job(NASTY, Connector(NASTY, terminals=terminals), rounds=rounds)
    answer = replace(
        answer_of(THERMISTOR),
        faults=(FaultAnswer(NASTY, 0.9, ("1",)),),
        circuits=(CircuitAnswer(NASTY, 0.9),),
    )
    for said in (answer, None):
        svg = circuit_picture(job, said, ink='"><script>', paper="'><script>")
        require_plain(svg)
        assert "<script" not in svg


@given(st.text(max_size=60), st.text(max_size=200), st.text(min_size=1, max_size=40))
@settings(max_examples=60, deadline=None)
def test_any_text_keeps_its_room(colour: str, name: str, round_name: str) -> None:
    terminals = (Terminal("1", colour), Terminal("C12B", "YE/BK"))
    rounds = (Round(round_name, plugged=True, key="on", volts={"1": Indication(12.34)}),)
    svg = circuit_picture(Job("j", Connector(name, terminals=terminals), rounds=rounds), None)
    require_plain(svg)
    require_room(svg)


def test_the_picture_is_the_same_each_time_and_takes_its_colours_from_the_page() -> None:
    job, answer = job_of(PEDAL), answer_of(PEDAL)
    svg = circuit_picture(job, answer)
    assert svg == circuit_picture(job, answer)
    assert 'fill="currentColor"' in svg
    printed = circuit_picture(job, answer, ink="#111111", paper="#ffffff")
    assert "currentColor" not in printed
    assert 'fill="#ffffff"' in printed


def test_what_is_seen_is_also_told() -> None:
    svg = circuit_picture(job_of(THERMISTOR), answer_of(THERMISTOR))
    description = told(svg, "desc")
    assert "Terminal 1, black: thermistor signal." in description
    assert "A unplugged, key on 1.00 V" in description
    assert "Behind it: pull-up to 5 V." in description
    assert "On it in the sensor: thermistor 2.81 kohm (2.62 to 2.88)" in description
    assert float(parsed(svg).attrib["width"]) == 720.0
