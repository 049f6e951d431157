"""The whole way from a job to an answer, on jobs made for one question each."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from backprobe.job import Connector, Indication, Job, Round, Terminal
from backprobe.services.answer import Answer, answer_to_json
from backprobe.services.explain import explain, posterior_of

OPEN = Indication(float("inf"), over_range=True)
PINS = ("1", "2", "3", "4")


def _read(*values: float) -> dict[str, Indication]:
    return {p: Indication(v, False, f"{v:.3f}") for p, v in zip(PINS, values, strict=False)}


def _job(*rounds: Round, n: int = 4) -> Job:
    connector = Connector("sensor", terminals=tuple(Terminal(p) for p in PINS[:n]))
    return Job("a job", connector, rounds=rounds)


def _sound() -> tuple[Round, ...]:
    """A battery-fed air-mass sensor with thermistor and a 2.2 kohm pull-up.

    Worked by hand: 5 V over 2.2 kohm and 2.2 kohm stands at 2.50 V; 1 kohm from the pulled-up wire
    to ground leaves 5 / (1 + 2.2) = 1.56 V (common practice, no source).
    """
    battery, check = Indication(12.5, False, "12.50"), Indication(12.49, False, "12.49")
    return (
        Round(
            "A",
            plugged=False,
            key="on",
            volts=_read(12.42, 0.0, 0.004, 5.0),
            volts_loaded={"1": Indication(12.41), "4": Indication(1.563)},
            battery_volts=battery,
            black_lead_check=check,
        ),
        Round(
            "B",
            plugged=True,
            key="on",
            volts=_read(12.4, 1.0, 0.011, 2.5),
            battery_volts=battery,
            black_lead_check=check,
        ),
        Round(
            "C",
            plugged=True,
            key="run",
            rpm=800,
            volts=_read(14.0, 1.45, 0.02, 2.45),
            battery_volts=Indication(14.1, False, "14.10"),
            black_lead_check=Indication(14.09, False, "14.09"),
        ),
    )


@pytest.fixture(scope="module")
def sound() -> Answer:
    return explain(_job(*_sound()))


def test_a_sound_sensor_gets_its_roles_and_no_fault(sound: Answer) -> None:
    roles = [t.role for t in sound.terminals]
    assert roles == ["supply-battery", "signal-analogue", "sensor-ground", "signal-thermistor"]
    assert sound.faults[0].fault == "none"
    assert sound.measurement.trusted > 0.95


def test_probabilities_sum_to_one(sound: Answer) -> None:
    assert sum(f.probability for f in sound.faults) == pytest.approx(1.0)
    assert sum(c.probability for c in sound.circuits) == pytest.approx(1.0)
    for terminal in sound.terminals:
        assert sum(terminal.roles.values()) == pytest.approx(1.0)


def test_the_pull_up_is_what_the_loaded_reading_says(sound: Answer) -> None:
    """R = 1 kohm (V0 / V1 - 1) = 1 kohm (5.0 / 1.563 - 1) = 2.2 kohm: a Thevenin source, loaded."""
    found = next(e for e in sound.estimates if e.name == "pull-up resistance")
    assert found.low < 1000.0 * (5.0 / 1.563 - 1.0) < found.high


def test_the_answer_is_json(sound: Answer) -> None:
    assert json.loads(json.dumps(answer_to_json(sound)))["format"] == 1


def test_an_open_ground_leaves_both_thermistor_wires_at_five_volts() -> None:
    """Common practice, no source: plugged in, 5 V on both wires means the ground is open."""
    answer = explain(
        _job(
            Round("A", plugged=False, key="on", volts=_read(5.0, 0.0)),
            Round("B", plugged=True, key="on", volts=_read(5.0, 4.99)),
            n=2,
        )
    )
    assert answer.faults[0].fault == "open:sensor-ground"
    assert [t.role for t in answer.terminals] == ["signal-thermistor", "sensor-ground"]


def test_a_black_lead_on_a_bad_point_is_named_and_no_fault_claimed() -> None:
    """Common practice, no source: all readings low together and a negative ground."""
    rounds = list(_sound())
    low = {p: replace(i, value=i.value - 0.7, written="") for p, i in rounds[1].volts.items()}
    rounds[1] = replace(
        rounds[1],
        black_lead="bracket",
        volts=low,
        black_lead_check=Indication(11.8, False, "11.80"),
    )
    answer = explain(_job(*rounds))
    assert answer.measurement.rounds["B"] < 0.5
    assert any("black lead" in remark for remark in answer.measurement.remarks)
    assert answer.faults[0].fault == "none"


def test_a_void_round_does_not_count(sound: Answer) -> None:
    wrong = Round(
        "X", plugged=True, key="on", volts=_read(0.0, 9.0, 5.0, 0.0), void="leads crossed"
    )
    answer = explain(_job(*_sound(), wrong))
    assert [t.role for t in answer.terminals] == [t.role for t in sound.terminals]
    assert "X" not in answer.measurement.rounds


def test_the_order_of_the_terminals_does_not_matter(sound: Answer) -> None:
    swapped = {"1": "3", "3": "1", "2": "2", "4": "4"}
    rounds = tuple(
        replace(
            r,
            volts={swapped[p]: i for p, i in r.volts.items()},
            volts_loaded={swapped[p]: i for p, i in r.volts_loaded.items()},
        )
        for r in _sound()
    )
    answer = explain(_job(*rounds))
    for terminal in answer.terminals:
        assert terminal.role == next(
            t.role for t in sound.terminals if t.pin == swapped[terminal.pin]
        )


def test_without_readings_nothing_is_claimed() -> None:
    answer = explain(_job(n=2))
    assert max(t.probability for t in answer.terminals) < 0.9
    assert answer.misfit.probability == 1.0
    assert answer.next


def test_the_kind_that_a_connector_is_taken_for_is_a_witness_that_can_be_outvoted() -> None:
    def share(kind: str, *rounds: Round) -> float:
        whole = _job(*rounds, n=3)
        found = posterior_of(replace(whole, connector=replace(whole.connector, kind=kind)))
        pairs = found.bench.hypotheses.pairs
        mine = np.array([pairs[int(h)][0].kind == "pressure" for h in found.draws.hypothesis])
        return float(found.draws.weight[mine].sum())

    # A supply and a ground alone: what sort of sensor hangs on them stays open.
    some = Round("A", plugged=False, key="on", volts=_read(5.0, 0.01, 0.01))
    assert share("pressure", some) > 1.5 * share("unknown", some)
    # Both ends alternate, and 900 ohm between them: a coil, whoever calls it a pressure sensor.
    ohms = {("1", "2"): Indication(900.0), ("1", "3"): OPEN, ("2", "3"): OPEN}
    coil = Round("A", plugged=False, key="on", volts=_read(0.0, 0.0, 0.0), sensor_ohms=ohms)
    turning = Round("B", plugged=True, key="run", rpm=800, volts_ac=_read(1.9, 1.9, 0.01))
    assert share("pressure", coil, turning) < 0.1
