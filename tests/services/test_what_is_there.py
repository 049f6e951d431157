"""What circuits hold that a reading needs, by the families themselves and common practice."""

import pytest

from backprobe.families.loader import load_families
from backprobe.services.what_is_there import (
    answers_crank,
    answers_snap,
    answers_sweep,
    names_reported,
    share_of,
)
from tests.services.sheets import after


def test_levers_are_swept_and_nothing_else_is() -> None:
    # Common practice: pedals, throttles and flaps are moved by hand or foot from stop to stop.
    kinds = {f.kind for f in load_families() if answers_sweep(f)}
    assert "position" in kinds
    assert not kinds & {"temperature", "speed", "oxygen", "knock", "switch", "air-mass"}


def test_what_the_starter_turns_is_cranked() -> None:
    # Common practice: crank- and camshaft sensors, not those at a wheel.
    ids = {f.id for f in load_families() if answers_crank(f)}
    assert {"hall-5v", "hall-8v", "hall-battery", "pick-up-biased", "pick-up-grounded"} <= ids
    assert not any(i.startswith(("speed-current", "thermistor", "oxygen")) for i in ids)


def test_a_snap_moves_flow_and_pressure() -> None:
    snapped = {f.kind for f in load_families() if answers_snap(f)}
    assert {"air-mass", "pressure", "position"} <= snapped


@pytest.mark.parametrize("name", ["half-a-sheet", "thermistor"])
def test_shares_are_probabilities(name: str) -> None:
    posterior = after(name)
    assert share_of(posterior, lambda _: True) == pytest.approx(1.0)
    assert share_of(posterior, lambda _: False) == 0.0
    assert 0.0 <= share_of(posterior, answers_sweep) <= 1.0


def test_values_are_named_for_circuits_that_are_told_of() -> None:
    # A thermistor's temperature is a value by SAE J1979; nothing of an oxygen cell's volts is
    # known here.
    names = names_reported(after("thermistor"), 0.25)
    assert "coolant temperature" in names
    assert "intake air temperature volts" in names
    assert names_reported(after("cell"), 0.25) == ()
    assert names_reported(after("thermistor"), 1.01) == ()
