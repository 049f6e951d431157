"""What a wire is, and by which reading: each thing said once, and the wire's own reading first."""

from dataclasses import replace

import pytest

from backprobe.services import planning
from backprobe.services.answer import (
    Answer,
    FaultAnswer,
    Measurement,
    Misfit,
    Reason,
    RuledOut,
    TerminalAnswer,
)
from backprobe.services.telling import (
    SETTLED_FROM,
    because,
    best_reason,
    faults_because,
    fits_nothing,
    fits_poorly,
    other_roles,
    remarks_beside,
    role_line,
    verdict,
    wire_because,
)
from backprobe.services.words import FIT_NOTHING
from tests.cli.made_up import made_up_answer

CLAIM = "terminal 3 is sensor-ground"
DECIDED = TerminalAnswer("3", "sensor-ground", 0.99, {"sensor-ground": 0.99})


def carried(*reasons: tuple[str, float], claim: str = CLAIM) -> Answer:
    """An answer with these readings as reasons, and no others."""
    told = tuple(Reason(claim, reading, weight, "12 mV was read") for reading, weight in reasons)
    return replace(made_up_answer(), reasons=told, evidence={})


def test_an_undecided_wire_lists_its_roles_once_and_apart() -> None:
    """Some roles hold a comma themselves, so that commas don't tell them apart."""
    roles = {"supply-regulated": 0.47, "signal-switching": 0.4, "signal-analogue": 0.13}
    said = TerminalAnswer("1", "supply-regulated", 0.47, roles)
    assert role_line(said) == (
        "not decided: regulated supply 47 %; signal, switching 40 %; or signal, a voltage 13 %"
    )
    assert other_roles(said) == ""


def test_a_decided_wire_names_what_else_it_may_be() -> None:
    said = TerminalAnswer(
        "1", "supply-regulated", 0.9, {"supply-regulated": 0.9, "signal-switching": 0.1}
    )
    assert role_line(said) == "regulated supply (very likely, 90 %)"
    assert other_roles(said) == "signal, switching 10 %"


def test_a_share_of_hardly_anything_is_not_listed() -> None:
    said = TerminalAnswer(
        "1",
        "motor",
        0.5,
        {"motor": 0.5, "shield": 0.4985, "not-used": 0.001, "heater-control": 5e-4},
    )
    assert role_line(said) == "not decided: motor lead 50 %; or cable screen 50 %"


def test_the_wires_own_reading_needs_no_introduction() -> None:
    answer = carried(("C volts 1", 40.0), ("A volts 3", 4.5))
    assert wire_because(answer, DECIDED) == "12 mV was read. (A: volts at 3, fair)"


@pytest.mark.parametrize(
    ("reading", "opening"),
    [
        ("C volts 1", "By what terminal 1 reads: "),
        ("C sensor_ohms 1-2", "By what terminals 1 and 2 read: "),
        ("C scan coolant temperature", "By the control unit's own values: "),
        ("C battery_volts", "By what was read at the battery: "),
        ("C sensor_ohms 1-3", ""),
    ],
)
def test_a_reading_taken_elsewhere_is_said_to_be(reading: str, opening: str) -> None:
    told = wire_because(carried((reading, 40.0), ("A volts 3", 2.0)), DECIDED)
    assert told.startswith(f"{opening}12 mV was read. (C: ")


def test_a_reason_of_an_undecided_wire_says_for_which_role_it_speaks() -> None:
    roles = {"signal-analogue": 0.55, "sensor-ground": 0.45}
    undecided = TerminalAnswer("3", "sensor-ground", 0.45, roles)
    told = wire_because(carried(("A volts 3", 9.0)), undecided)
    assert told.startswith("For sensor ground: 12 mV")
    told = wire_because(carried(("A volts 1", 9.0)), undecided)
    assert told.startswith("For sensor ground, by what terminal 1 reads: 12 mV")


def test_what_says_next_to_nothing_is_no_reason() -> None:
    answer = carried(("A volts 3", 3.9), ("C volts 1", 3.0))
    assert best_reason(answer, CLAIM, "3") is None
    assert wire_because(answer, DECIDED) == ""


def test_a_sound_rounds_reading_goes_before_a_doubtful_rounds() -> None:
    answer = carried(("A volts 3", 40.0), ("B volts 1", 5.0))
    doubtful = Measurement(0.1, {"A": 0.1, "B": 0.999})
    assert wire_because(answer, DECIDED) == "12 mV was read. (A: volts at 3, decisive)"
    told = wire_because(replace(answer, measurement=doubtful), DECIDED)
    assert told == "By what terminal 1 reads: 12 mV was read. (B: volts at 1, fair)"


def test_a_doubtful_rounds_reading_is_a_reason_with_a_reserve() -> None:
    """Where nothing else carries a claim; what is ruled out says the same."""
    doubtful = Measurement(0.1, {"A": 0.1, "B": 0.999})
    answer = replace(carried(("A volts 3", 40.0), ("B volts 3", 2.0)), measurement=doubtful)
    reserve = "12 mV was read. (A: volts at 3, decisive, if round A can be trusted)"
    assert wire_because(answer, DECIDED) == reserve
    out = RuledOut("open:motor", ("1",), "A volts 3", 40.0, "12 mV was read")
    assert because(answer, out) == reserve
    sound = replace(out, reading="B volts 3")
    assert because(answer, sound) == "12 mV was read. (B: volts at 3, decisive)"


def test_that_a_value_is_reported_is_no_reason_for_a_fault() -> None:
    fault = "fault sensor-stuck:signal-analogue"
    reported, seen = ("B scan manifold pressure", 9.0), ("B scan manifold pressure volts", 5.0)
    found = best_reason(carried(reported, seen, claim=fault), fault)
    assert found is not None
    assert found.reading == "B scan manifold pressure volts"
    wire = best_reason(carried(reported, seen), CLAIM, "3")
    assert wire is not None
    assert wire.reading == "B scan manifold pressure"


def test_what_carries_several_faults_alike_is_said_of_the_first() -> None:
    faults = tuple(FaultAnswer(name, 0.3) for name in ("none", "open:motor", "resistance:motor"))
    told = [
        Reason("fault none", "A volts 3", 9.0, "12 mV"),
        Reason("fault open:motor", "A volts 3", 9.0, "12 mV"),
        Reason("fault resistance:motor", "A volts 1", 5.0, "5 V"),
    ]
    answer = replace(made_up_answer(), faults=faults, reasons=tuple(told), evidence={})
    assert faults_because(answer, faults) == [
        "12 mV. (A: volts at 3, good)",
        "",
        "5 V. (A: volts at 1, fair)",
    ]
    assert faults_because(answer, faults[1:])[0] == "12 mV. (A: volts at 3, good)"


def test_where_nothing_fits_a_share_is_no_certainty() -> None:
    answer = replace(made_up_answer(), misfit=Misfit(1e-6, ("A volts 3", "C volts 4")))
    assert fits_nothing(answer)
    told = verdict(answer)
    assert told.startswith("Nothing known here fits these readings. Nearest: ")
    assert told.endswith("% of what is known here).")


def test_that_nothing_fits_is_said_once() -> None:
    plain = made_up_answer()
    measurement = replace(plain.measurement, remarks=("a remark.", FIT_NOTHING))
    answer = replace(
        plain, measurement=measurement, misfit=Misfit(1e-6, ("A volts 3", "C volts 4"))
    )
    assert remarks_beside(answer) == ("a remark.",)
    assert remarks_beside(replace(answer, misfit=plain.misfit)) == ("a remark.", FIT_NOTHING)


def test_readings_of_distrusted_rounds_alone_are_no_further_misfit() -> None:
    measurement = Measurement(0.01, {"A": 0.01, "C": 0.98})
    answer = replace(made_up_answer(), measurement=measurement)
    own = replace(answer, misfit=Misfit(1e-6, ("A volts 3",)))
    assert not fits_poorly(own)
    assert not fits_nothing(own)
    for readings in (("A volts 3", "C volts 4"), ()):
        assert fits_nothing(replace(answer, misfit=Misfit(1e-6, readings)))


def test_a_fault_is_called_settled_where_the_planner_calls_it_so() -> None:
    assert SETTLED_FROM == planning.SETTLED
