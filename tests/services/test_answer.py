"""The answer as JSON, held to the shape that the job-file format (format 1) states."""

import json
import math
from dataclasses import FrozenInstanceError, replace

import pytest

from backprobe.services.answer import (
    Answer,
    CircuitAnswer,
    Estimate,
    FaultAnswer,
    Measurement,
    Misfit,
    NextReading,
    Reason,
    TerminalAnswer,
    answer_to_json,
)


def format_example() -> Answer:
    """The example object printed in the format's own description, as dataclasses."""
    return Answer(
        file="intake.toml",
        terminals=(
            TerminalAnswer(
                "1",
                "signal-analogue",
                0.996,
                {"signal-thermistor": 0.004, "signal-analogue": 0.996},
            ),
        ),
        circuits=(CircuitAnswer("air mass, voltage, with thermistor", 0.98),),
        faults=(FaultAnswer("resistance:sensor-ground", 0.02, ("3",)), FaultAnswer("none", 0.97)),
        measurement=Measurement(0.999, {"A": 0.999}, ("…",)),
        estimates=(
            Estimate("thermistor resistance", "A", "2", 2210.0, 2050.0, 2380.0, "ohm", 0.95),
        ),
        misfit=Misfit(0.4),
        reasons=(Reason("terminal 3 is sensor-ground", "A volts 3", 31.0, "…"),),
        next=(NextReading(True, "on", 0, "", "volts", "1", 0.71, 1.5, "…", ("…",), ("step",)),),
    )


def test_the_formats_own_example_comes_out_as_printed() -> None:
    """Literal copy of the object in the format description, with the estimate's terminal added."""
    assert answer_to_json(format_example()) == {
        "format": 1,
        "file": "intake.toml",
        "terminals": {
            "1": {
                "role": "signal-analogue",
                "probability": 0.996,
                "roles": {"signal-analogue": 0.996, "signal-thermistor": 0.004},
            }
        },
        "circuits": [{"circuit": "air mass, voltage, with thermistor", "probability": 0.98}],
        "faults": [
            {"fault": "none", "probability": 0.97, "terminals": []},
            {"fault": "resistance:sensor-ground", "probability": 0.02, "terminals": ["3"]},
        ],
        "measurement": {"trusted": 0.999, "rounds": {"A": 0.999}, "remarks": ["…"]},
        "estimates": [
            {
                "name": "thermistor resistance",
                "round": "A",
                "terminal": "2",
                "value": 2210.0,
                "low": 2050.0,
                "high": 2380.0,
                "unit": "ohm",
                "coverage": 0.95,
            }
        ],
        "misfit": {"probability": 0.4, "readings": []},
        "reasons": [
            {
                "claim": "terminal 3 is sensor-ground",
                "reading": "A volts 3",
                "decibans": 31.0,
                "text": "…",
            }
        ],
        "next": [
            {
                "plugged": True,
                "key": "on",
                "rpm": 0,
                "action": "",
                "quantity": "volts",
                "terminal": "1",
                "bits": 0.71,
                "minutes": 1.5,
                "text": "…",
                "cautions": ["…"],
            }
        ],
    }


def test_probabilities_below_a_thousandth_are_cut_and_the_order_falls() -> None:
    answer = replace(
        format_example(),
        faults=(
            FaultAnswer("open:sensor-ground", 0.0009, ("3",)),
            FaultAnswer("none", 0.001),
            FaultAnswer("short-to-ground:sensor-ground", 0.9981, ("3",)),
        ),
        terminals=(
            TerminalAnswer("1", "shield", 0.6, {"not-used": 0.0004, "motor": 0.39, "shield": 0.6}),
        ),
    )
    shown = answer_to_json(answer)
    assert [fault["fault"] for fault in shown["faults"]] == [
        "short-to-ground:sensor-ground",
        "none",
    ]
    assert list(shown["terminals"]["1"]["roles"]) == ["shield", "motor"]


def test_the_only_entry_stays_however_small() -> None:
    answer = replace(format_example(), circuits=(CircuitAnswer("a", 0.0004),))
    assert answer_to_json(answer)["circuits"] == [{"circuit": "a", "probability": 0.0004}]


def test_every_number_is_one_that_json_knows() -> None:
    """RFC 8259, section 6: no infinity, no NaN."""
    unbounded = Estimate("pull-up resistance", "A", "2", 2200.0, 900.0, math.inf, "ohm")
    answer = replace(
        format_example(),
        estimates=(unbounded, replace(unbounded, high=2400.0)),
        reasons=(Reason("fault none", "A volts 1", math.inf, ""), Reason("c", "r", -0.001, "")),
    )
    shown = answer_to_json(answer)
    text = json.dumps(shown, allow_nan=False)
    assert len(shown["estimates"]) == 1
    assert "-0.0" not in text


def test_numbers_are_rounded_to_what_they_can_bear() -> None:
    answer = replace(
        format_example(),
        estimates=(Estimate("supply", "A", "4", 5.0034567, 4.981234, 5.02999, "V"),),
        misfit=Misfit(3.14159e-7, ("A volts 3",)),
        circuits=(CircuitAnswer("a", 0.87654321), CircuitAnswer("b", 0.12345679)),
    )
    shown = answer_to_json(answer)
    assert (shown["estimates"][0]["value"], shown["estimates"][0]["low"]) == (5.003, 4.981)
    assert shown["misfit"] == {"probability": 3.14e-7, "readings": ["A volts 3"]}
    assert [circuit["probability"] for circuit in shown["circuits"]] == [0.87654, 0.12346]


def test_answers_do_not_change_after_they_are_given() -> None:
    with pytest.raises(FrozenInstanceError):
        format_example().file = "other.toml"  # type: ignore[misc]  # the point of the test
