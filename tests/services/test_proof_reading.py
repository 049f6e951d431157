"""The reading that a circuit needs before it is called sound.

Common practice of the trade, no published source: wires that read well on an unplugged connector
say nothing yet of the sensor, of what the wires stand under its current, or of two that are
exchanged behind the connector; the same readings are taken again with both ends together.
"""

from dataclasses import replace

import numpy as np
import pytest

from backprobe.job import Indication, Round
from backprobe.services import planning
from backprobe.services.candidate_readings import candidates_of
from backprobe.services.explain import posterior_of
from backprobe.services.planning import plan_of
from backprobe.services.proof_reading import is_unproved, proving_reading
from tests.services.sheets import SHEETS, after, taken

# 2210 ohm against a pull-up of 2.2 kohm to 5 V: 5 x 2210 / 4410 = 2.506 V (Ohm's law).
PLUGGED = Round(
    "B",
    plugged=True,
    key="on",
    battery_volts=Indication(12.6),
    black_lead_check=Indication(12.6),
    volts=taken({"1": 2.506, "2": 0.004}),
)


def nothing_tells(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(planning, "LEAST_BITS", 99.0)


def test_a_sound_circuit_is_read_plugged_in_though_nothing_else_would_tell(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    nothing_tells(monkeypatch)
    found = plan_of(after("thermistor"))
    assert not found.settled
    (reading,) = found.readings
    assert (reading.plugged, reading.key, reading.quantity) == (True, "on", "volts")
    assert "before the circuit is called sound" in reading.text
    assert "Plug the sensor in until it latches." in reading.steps
    assert "Key off before you plug or unplug." in reading.cautions


def test_what_was_read_plugged_in_is_not_asked_for_again(monkeypatch: pytest.MonkeyPatch) -> None:
    sheet = SHEETS["thermistor"]
    posterior = posterior_of(replace(sheet, rounds=(*sheet.rounds, PLUGGED)))
    assert not is_unproved(posterior)
    nothing_tells(monkeypatch)
    assert plan_of(posterior).readings == ()


def test_a_round_without_readings_or_with_the_key_off_proves_nothing() -> None:
    sheet = SHEETS["thermistor"]
    empty = replace(PLUGGED, volts={})
    dead = replace(PLUGGED, key="off", volts=taken({"1": 0.0, "2": 0.0}))
    for taken_round in (empty, dead):
        assert is_unproved(posterior_of(replace(sheet, rounds=(*sheet.rounds, taken_round))))


def test_a_fault_needs_no_such_reading() -> None:
    # 12.6 V on the pulled-up wire of an unplugged thermistor is battery voltage that strayed there.
    sheet = SHEETS["thermistor"]
    stray = replace(sheet.rounds[0], volts=taken({"1": 12.6, "2": 0.003}), volts_loaded={})
    assert not is_unproved(posterior_of(replace(sheet, rounds=(stray,))))


def test_of_the_readings_plugged_in_the_one_that_tells_most_is_taken() -> None:
    candidates = candidates_of(after("unplugged only"))
    bits = [0.01 * k for k in range(len(candidates.readings))]
    number = proving_reading(candidates, np.array(bits))
    assert number is not None
    state = candidates.settings[candidates.readings[number].setting].state
    assert (state.plugged, state.key) == (True, "on")
    later = candidates.readings[number + 1 :]
    assert not [
        c
        for c in later
        if candidates.settings[c.setting].state == state and c.quantity in ("volts", "volts_ac")
    ]
