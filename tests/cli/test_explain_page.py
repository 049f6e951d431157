"""The page in words: what stands where, at every width, with and without colour."""

import io
import re
from dataclasses import replace

import pytest
from rich.console import Console, RenderableType

from backprobe.cli.explain_page import page
from backprobe.cli.next_page import next_page
from backprobe.cli.terminal import show
from backprobe.cli.why_page import claims_about, why_page
from backprobe.errors import UsageError
from backprobe.job import Indication, Round
from backprobe.services.answer import (
    Answer,
    Estimate,
    FaultAnswer,
    Measurement,
    Misfit,
    NextReading,
    Reason,
)
from backprobe.services.telling import ONLY_AMONG_KNOWN, best_reason, telling_estimates
from tests.cli.made_up import doubtful_answer, made_up_answer, made_up_job

ESCAPE = "\x1b"


def printed(content: RenderableType, width: int = 80, *, terminal: bool = False) -> str:
    stream = io.StringIO()
    console = Console(
        file=stream,
        width=width,
        markup=False,
        highlight=False,
        force_terminal=terminal,
        color_system="truecolor" if terminal else None,
        legacy_windows=False,
    )
    show(console, content)
    return stream.getvalue()


def told(answer: Answer | None = None, width: int = 80) -> str:
    return printed(page(made_up_job(), answer or made_up_answer(), width), width)


def flat(text: str) -> str:
    """Text without line breaks, indents and frames."""
    return " ".join(re.sub(r"[┃│┏┓┗┛━]", " ", text).split())


@pytest.mark.parametrize("width", [40, 60, 80, 120])
@pytest.mark.parametrize("answer", [made_up_answer(), doubtful_answer()])
def test_no_line_is_wider_than_the_terminal(width: int, answer: Answer) -> None:
    lines = told(answer, width).splitlines()
    assert max(len(line) for line in lines) <= width


@pytest.mark.parametrize("width", [40, 60, 80, 120])
def test_the_other_pages_fit_too(width: int) -> None:
    for content in (
        why_page(made_up_answer(), "3"),
        next_page(made_up_answer(), made_up_job()),
    ):
        assert max(len(line) for line in printed(content, width).splitlines()) <= width


@pytest.mark.parametrize("width", [60, 80, 120])
def test_nothing_is_cut_off_at_any_width(width: int) -> None:
    text = flat(told(width=width))
    assert "…" not in text
    for word in ("5.01 V", "load 1.56 V", "(4.61 V)", "1812 Hz", "duty 48 %", "12.58 V", "2k21"):
        assert word in text


def test_sections_come_in_the_order_of_need() -> None:
    text = told()
    heads = ["Measurement:", "So far:", "READINGS", "WIRES", "CIRCUIT", "FAULTS", "VALUES"]
    places = [text.index(head) for head in [*heads, "MEASURE NEXT", "effective samples"]]
    assert places == sorted(places)


def test_a_doubtful_measurement_cannot_be_missed() -> None:
    text = told(doubtful_answer())
    alarm = text.index("!! THE MEASUREMENT IS DOUBTFUL !!")
    assert alarm < text.index("So far") if "So far" in text else alarm < text.index("READINGS")
    assert "Round A reads 0.38 V low on every wire." in flat(text)
    assert "as noted: round A 12 %." in flat(text)
    assert "What follows rests on round C." in flat(text)
    assert "!!" not in told()
    # A round that is believed by half still moves what follows.
    half = replace(doubtful_answer(), measurement=Measurement(0.6, {"A": 0.6, "C": 0.99}))
    expected = "What follows rests on round C, and on round A as far as it can be trusted."
    assert expected in flat(told(half))


def test_readings_that_fit_nothing_are_said_to_and_marked_in_the_sheet() -> None:
    text = told(doubtful_answer())
    assert "THESE READINGS FIT NOTHING KNOWN HERE" in text
    assert "A: volts at 3 and C: volts at 4" in flat(text)
    assert "12 mV !" in text
    assert "So far" not in text
    assert "Nothing known here fits these readings. Nearest: " in flat(text)
    assert "% of what is known here)" in flat(text)
    assert ONLY_AMONG_KNOWN in flat(text)
    assert " ! " not in told().split("READINGS")[1].split("WIRES")[0]


def test_what_a_distrusted_round_reads_is_not_doubted_twice() -> None:
    answer = replace(doubtful_answer(), misfit=Misfit(1e-9, ("A volts 3", "A volts 4")))
    text = flat(told(answer))
    assert "THE MEASUREMENT IS DOUBTFUL" in text
    assert "FIT NOTHING" not in text
    assert "So far, by round C:" in text
    assert "First of all read again" not in text


def test_what_no_reading_tells_apart_is_not_called_settled() -> None:
    open_ = replace(made_up_answer(), next=(), settled=True)
    assert open_.faults[0].probability < 0.99
    assert "What remains can hardly be told apart by any reading" in flat(told(open_))
    assert "Settled." not in told(open_)


def test_one_sample_is_one() -> None:
    answer = replace(made_up_answer(), effective_sample_size=1.2)
    assert "about 1 effective sample." in flat(told(answer))


def test_doubt_about_the_measurement_stands_in_the_verdict_too() -> None:
    fitting = made_up_answer().misfit
    answer = replace(doubtful_answer(), misfit=fitting)
    assert "So far, by round C: the sensor ground wire" in flat(told(answer))
    nowhere_sound = replace(answer, measurement=Measurement(0.1, {"A": 0.1, "C": 0.5}))
    assert "So far, if the measurement holds:" in flat(told(nowhere_sound))
    assert "before you believe anything below" in flat(told(nowhere_sound))


def test_a_poor_fit_is_a_line_and_not_an_alarm() -> None:
    answer = replace(made_up_answer(), misfit=replace(doubtful_answer().misfit, probability=0.03))
    text = flat(told(answer))
    assert "The fit is poor." in text
    assert "FIT NOTHING" not in text


def test_void_rounds_are_shown_marked_and_reasoned() -> None:
    text = told()
    assert "B VOID" in text
    assert "(-0.37 V = -370 mV)" in text
    assert "B: void: the bolt was painted; black lead on a painted bolt" in text


def test_below_one_volt_also_in_millivolts() -> None:
    """The trade speaks of drops and offsets in millivolts: 0.412 V is 412 mV."""
    text = told()
    assert "0.412 V = 412 mV" in text
    assert "0.013 V = 13 mV" in text
    assert "12 mV" in text
    assert "5010 mV" not in text


def test_every_terminal_has_its_role_in_words_its_share_and_a_reason() -> None:
    wires = flat(told()).split("WIRES")[1].split("CIRCUIT")[0]
    assert "1 GN/WH thermistor signal (settled, 99.6 %)" in wires
    assert "fed through about 2.2 kohm. (A: volts with load at 1, decisive)" in wires
    assert "4 RD not decided: signal, a voltage 52 %; signal, switching 45 %; or not used" in wires
    assert "2 BU regulated supply (very likely, 93 %) or not used 7 %" in wires
    assert "! The diagram says: battery feed." in wires


def test_probability_never_stands_alone() -> None:
    assert "So far: the sensor ground wire (terminal 3) is broken" in flat(told())
    assert "(likely, 62 %)" in flat(told())


def test_remaining_and_ruled_out_faults_with_the_reading_that_did_it() -> None:
    faults = flat(told()).split("FAULTS")[1].split("VALUES")[0]
    assert "62 % The sensor ground wire" in faults
    assert "5 % No fault in this circuit" in faults
    assert "Proof before repair: A temporary wire" in faults
    assert "Ruled out x The thermistor signal wire (terminal 1) touches body or ground" in faults
    assert "(by A: volts at 1, very strong)" in faults


def test_control_unit_as_first_suspect_brings_its_own_proof() -> None:
    answer = replace(
        made_up_answer(), faults=(FaultAnswer("control-unit-input:signal-thermistor", 0.9, ("1",)),)
    )
    assert "The control unit is named last" in flat(told(answer))


def test_undecided_is_said_plainly() -> None:
    answer = replace(
        made_up_answer(),
        faults=(FaultAnswer("none", 0.4), FaultAnswer("open:sensor-ground", 0.35, ("3",))),
    )
    assert "So far: not decided." in told(answer)


def test_long_lists_of_faults_are_cut_and_counted() -> None:
    roles = ("sensor-ground", "signal-thermistor", "supply-regulated", "signal-analogue")
    kinds = ("open", "resistance", "short-to-ground")
    faults = tuple(FaultAnswer(f"{k}:{r}", 1 / 12, ("1",)) for k in kinds for r in roles)
    text = flat(told(replace(made_up_answer(), faults=faults)))
    assert "and 6 more, each at most 8 %" in text


def test_estimates_stand_with_their_interval() -> None:
    values = flat(told()).split("VALUES")[1].split("MEASURE NEXT")[0]
    assert "thermistor resistance 1, A 2.21 kohm 2.05 to 2.38 kohm" in values


def test_an_estimate_that_only_repeats_its_reading_is_left_out() -> None:
    """The supply was read as 4.99 V in round A, and the estimate says 4.97 to 5.01 V."""
    job, answer = made_up_job(), made_up_answer()
    assert [each.name for each in telling_estimates(job, answer)] == ["thermistor resistance"]
    corrected = replace(answer.estimates[0], value=4.61, low=4.58, high=4.64)
    kept = telling_estimates(job, replace(answer, estimates=(corrected,)))
    assert kept == [corrected]


def test_no_value_is_told_of_a_round_that_proves_nothing() -> None:
    answer = made_up_answer()
    doubted = replace(answer.measurement, rounds={"A": 0.001, "B": 0.99})
    of_both = [each.round for each in telling_estimates(made_up_job(), answer)]
    left = [
        each.round
        for each in telling_estimates(made_up_job(), replace(answer, measurement=doubted))
    ]
    assert "A" in of_both
    assert left == [name for name in of_both if name != "A"]


def test_what_cannot_be_told_is_not_given_a_middle() -> None:
    """Between 14 Hz and 5 kHz lies every sensor there is."""
    answer = made_up_answer()
    vague = Estimate("frequency", "A", "4", 421.0, 14.3, 5100.0, "Hz")
    assert telling_estimates(made_up_job(), replace(answer, estimates=(vague,))) == []


def test_the_reading_at_the_wire_itself_goes_first_as_reason() -> None:
    claim = "terminal 3 is sensor-ground"
    elsewhere, own = Reason(claim, "C volts 1", 40.0, ""), Reason(claim, "A volts 3", 9.0, "")
    before = Reason(claim, "before any reading", 60.0, "")
    answer = replace(made_up_answer(), reasons=(elsewhere, own, before), evidence={})
    assert best_reason(answer, claim, "3") == own
    assert best_reason(answer, claim) == elsewhere
    assert best_reason(replace(answer, reasons=(before,)), claim) is None


def test_one_reading_that_does_not_fit_does_not_damn_the_rest() -> None:
    answer = replace(made_up_answer(), misfit=Misfit(0.0001, ("A volts 3",)))
    text = flat(told(answer))
    assert "!! ONE READING FITS NOTHING !!" in text
    assert "It is A: volts at 3." in text
    assert "So far, that reading apart: the sensor ground wire" in text


def test_next_readings_with_minutes_split_and_cautions_once() -> None:
    text = flat(told()).split("MEASURE NEXT")[1]
    assert "1. plugged in, key on: volts at terminal 3 (BN/BK) 1.5 minutes;" in text
    assert "Both wires at 5 V means the return is open" in text
    assert text.count("Key off before you plug or unplug.") == 1
    assert "airbag" in text


def test_the_cell_to_measure_next_is_marked_in_the_sheet() -> None:
    wanted = NextReading(False, "on", 0, "", "volts_loaded", "4", 0.5, 1.2, "")
    answer = replace(made_up_answer(), next=(wanted,))
    assert "load << next" in told(answer)
    assert "<<" not in told()


def test_what_does_not_fit_is_read_again_before_anything_new() -> None:
    """Trade practice: repeat an odd reading before believing it (common practice, no source)."""
    doubtful = doubtful_answer()
    words = "First of all read again A: volts at 3 and C: volts at 4. 1. plugged in"
    assert words in flat(told(doubtful))
    assert words in flat(printed(next_page(doubtful, made_up_job())))
    assert "read again" not in told()


def test_settled_says_so() -> None:
    answer = replace(made_up_answer(), settled=True, next=())
    sure = (replace(answer.faults[0], probability=0.995),)
    answer = replace(answer, faults=sure)
    assert "Settled. Nothing more has to be measured" in flat(told(answer))


def test_unstable_answers_own_up() -> None:
    text = flat(told(doubtful_answer()))
    assert "NOT STABLE: about 23 effective samples" in text
    assert "NOT STABLE" not in told()


def test_text_from_the_file_is_never_taken_for_markup() -> None:
    assert "Clears by itself [when warm]" in told()


def test_piped_text_has_no_escapes_and_no_trailing_blanks() -> None:
    text = told()
    assert ESCAPE not in text
    assert not [line for line in text.splitlines() if line != line.rstrip()]


def test_with_colour_the_words_are_the_same() -> None:
    """Colour and type style never carry meaning alone."""
    content = page(made_up_job(), doubtful_answer(), 80)
    coloured = printed(content, terminal=True)
    assert ESCAPE in coloured
    plain = re.sub(r"\x1b\[[0-9;]*m", "", coloured)
    assert [line.rstrip() for line in plain.splitlines()] == printed(content).splitlines()


def test_many_rounds_go_into_blocks_that_fit() -> None:
    job = made_up_job()
    many = tuple(
        Round(f"R{number}", plugged=True, key="on", volts={"1": Indication(5.0)})
        for number in range(11)
    )
    text = printed(page(replace(job, rounds=many), made_up_answer(), 60), 60)
    assert all(len(line) <= 60 for line in text.splitlines())
    assert all(f"R{number}" in text for number in range(11))
    assert text.count("│ 5 V ") == 11


def test_a_job_without_rounds_is_answered_without_a_sheet() -> None:
    text = printed(page(replace(made_up_job(), rounds=()), made_up_answer(), 80))
    assert "No readings yet." in text


def test_why_shows_every_reading_sorted_with_a_running_sum() -> None:
    text = flat(printed(why_page(made_up_answer(), "3")))
    assert text.index("+16.1 +16.1") < text.index("+14.2 +30.3") < text.index("-2.0 +28.3")
    assert "Together +28.3 decibans: very strong, for." in text
    assert "C: volts at 3" in text


def test_why_takes_a_fault_by_its_name() -> None:
    assert claims_about(made_up_answer(), "open:sensor-ground") == ["fault open:sensor-ground"]
    assert "sensor ground wire is broken" in printed(
        why_page(made_up_answer(), "fault open:sensor-ground")
    )


def test_why_about_something_unknown_says_what_can_be_asked() -> None:
    with pytest.raises(UsageError) as caught:
        why_page(made_up_answer(), "9")
    message = str(caught.value)
    assert 'Nothing is claimed about "9".' in message
    assert "--why for 3, open:sensor-ground" in message


def test_only_the_best_are_told_at_length() -> None:
    """Somebody who is tired needs one reading, and perhaps two to choose from."""
    several = replace(made_up_answer(), next=made_up_answer().next * 3)
    short = flat(told(several)).split("MEASURE NEXT")[1]
    assert "3. plugged in" in short
    assert "4." not in short
    assert "backprobe next stumble.toml" in short
    steps = flat(printed(next_page(several, made_up_job())))
    assert steps.count("a) ") == 3
    assert "Or 4. unplugged, key on: sensor ohms, 1 to 3: half a minute;" in steps
    assert "6. unplugged" in steps


def test_next_page_gives_steps_in_order_with_their_own_cautions() -> None:
    text = flat(printed(next_page(made_up_answer(), made_up_job()), 60))
    assert "a) Key off. b) Plug the sensor in until it latches. c) Key on." in text
    assert text.index("c) Key on.") < text.index("Beware:") < text.index("2. unplugged")
    assert "sensor ohms, 1 to 3" in text
