"""What checks of the black lead say.

Common practice, no source: a sound point shows the battery's volts but for some ten millivolts; a
lead that fails is moved and checked again before anything is read.
"""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.job import Indication, Round
from backprobe.services.candidate import place_of
from backprobe.services.candidate_readings import candidates_of
from backprobe.services.explain import posterior_of
from backprobe.services.lead_checks import LeadCheck, last_told, lead_checks
from backprobe.services.planning import plan
from tests.services.sheets import job, taken, unplugged

HOLDS, FAILS, OPEN = LeadCheck.HOLDS, LeadCheck.FAILS, LeadCheck.OPEN
volts = st.floats(9.0, 15.0)


def checked(name: str, battery: float | None, check: float | None, key: str = "on") -> Round:
    return replace(unplugged(name, {}, battery=battery, check=check), key=key)


@given(battery=volts, missed=st.floats(-3.0, 3.0))
def test_what_a_check_misses_decides_and_its_sign_does_not(battery: float, missed: float) -> None:
    (above,) = lead_checks([checked("A", battery, battery + missed)])
    (below,) = lead_checks([checked("A", battery, battery - missed)])
    assert above is below
    if abs(missed) < 0.05:
        assert above is HOLDS
    if abs(missed) > 0.25:
        assert above is FAILS


@given(battery=volts, missed=st.floats(-3.0, 3.0))
def test_a_battery_read_before_is_never_stricter_than_one_read_now(
    battery: float, missed: float
) -> None:
    before = checked("A", battery, None)
    (now,) = lead_checks([checked("B", battery, battery + missed)])
    _, later = lead_checks([before, checked("B", None, battery + missed)])
    assert later is now or (now, later) in ((OPEN, HOLDS), (FAILS, HOLDS), (FAILS, OPEN))


@pytest.mark.parametrize("key", ["run", "crank"])
def test_a_turning_engine_moves_the_battery(key: str) -> None:
    rounds = [checked("A", 12.6, 12.6, key), checked("B", None, 14.2, key)]
    assert lead_checks(rounds) == (HOLDS, OPEN)


@pytest.mark.parametrize(
    ("key", "check", "said"),
    [
        ("on", 9.85, FAILS),
        ("crank", 9.85, OPEN),
        ("crank", 10.08, HOLDS),
        ("crank", 0.3, FAILS),
    ],
)
def test_what_a_battery_sinks_by_with_each_compression_shows_no_bad_lead(
    key: str, check: float, said: LeadCheck
) -> None:
    """Tenths of a volt lie between two readings while it cranks (common practice, no source)."""
    assert lead_checks([checked("A", 10.1, check, key)]) == (said,)


def test_another_position_of_the_key_says_nothing_of_the_battery() -> None:
    rounds = [checked("A", 12.6, 12.6, "off"), checked("B", None, 12.1)]
    assert lead_checks(rounds)[1] is OPEN


def test_the_last_check_that_says_anything() -> None:
    assert last_told([]) is None
    assert last_told([OPEN, OPEN]) is None
    assert last_told([HOLDS, FAILS, OPEN]) == 1


def test_a_lead_that_fails_is_moved_and_checked_before_anything_is_read() -> None:
    posterior = posterior_of(job("123", unplugged("A", {}, battery=12.6, check=11.4)))
    first = plan(posterior)[0]
    assert (first.quantity, first.plugged, first.key) == ("black_lead_check", False, "on")
    assert "in round A it misses the volts across the battery posts" in first.text
    assert any("Black lead on clean bare metal" in step for step in first.steps)
    # What is read after it is read afresh, not in the round that failed.
    assert all("again" not in r.text for r in plan(posterior)[1:])


def test_a_moved_lead_that_holds_is_read_with_at_once() -> None:
    failed = unplugged("A", {}, battery=12.6, check=11.4)
    moved = unplugged("B", {}, battery=None, check=12.57)
    first = plan(posterior_of(job("123", failed, moved)))[0]
    assert first.quantity == "volts"


def test_a_moved_lead_that_fails_again_is_moved_again() -> None:
    failed = unplugged("A", {}, battery=12.6, check=11.4)
    moved = unplugged("B", {}, battery=None, check=10.9)
    first = plan(posterior_of(job("123", failed, moved)))[0]
    assert first.quantity == "black_lead_check"
    assert "in round B" in first.text


def test_what_was_read_behind_a_failed_lead_is_read_again() -> None:
    behind = unplugged("A", {"1": 3.8}, battery=12.6, check=11.4)
    moved = unplugged("B", {}, battery=12.6, check=12.6)
    found = candidates_of(posterior_of(job("123", behind, moved)))
    again = {
        place_of("123", each)
        for each in found.readings
        if each.quantity == "volts" and not found.settings[each.setting].state.plugged
    }
    assert again == {"1", "2", "3"}


def test_a_later_round_on_a_point_that_held_needs_no_check() -> None:
    sound = unplugged("A", {"1": 5.0, "2": 0.003})
    plugged = Round("B", plugged=True, key="on", volts=taken({"1": 2.5, "2": 0.004}))
    found = plan(posterior_of(job("12", sound, plugged)), 99)
    assert not found or found[0].quantity not in ("black_lead_check", "battery_volts")


def test_a_volt_reading_is_an_indication_of_the_meter() -> None:
    low = replace(unplugged("A", {}), battery_volts=Indication(12.6))
    assert lead_checks([low]) == (HOLDS,)
