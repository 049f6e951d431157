"""What the checks of doubtful rounds suggest of their black leads."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.core.inference.black_lead import LeadKind, behind_leads, lead_at
from backprobe.core.inference.layout import Layout
from backprobe.core.inference.sheet import Quantity
from backprobe.job import Indication, Round
from backprobe.services.lead_guesses import lead_guesses, no_guess
from backprobe.services.problem import problem_of
from tests.core.inference.small_sheets import KEY_ON, UNPLUGGED
from tests.core.inference.small_sheets import sheet as small_sheet
from tests.services.sheets import job, taken

BAD = Round(
    "A",
    plugged=False,
    key="on",
    battery_volts=Indication(12.0),
    black_lead_check=Indication(10.0),
    volts=taken({"1": 4.0, "2": -1.0}),
)
SOUND = replace(BAD, name="B", black_lead_check=Indication(12.0), volts=taken({"1": 5.0, "2": 0.0}))


def test_what_a_check_misses_is_put_back_into_the_readings_of_its_round() -> None:
    sheet = problem_of(job("12", BAD, SOUND)).sheet
    shifted, scaled, both = lead_guesses(sheet, (0,))
    place = {label: i for i, label in enumerate(sheet.label)}
    assert shifted.sheet.value[place["A volts 1"]] == pytest.approx(6.0)
    assert scaled.sheet.value[place["A volts 1"]] == pytest.approx(4.8)
    # A ground at -1 V and 10 V across 12: eleven twelfths are left, of which -1 V is the lift.
    assert both.sheet.value[place["A volts 1"]] == pytest.approx(5.0 * 12.0 / 11.0)
    assert both.sheet.value[place["A volts 2"]] == pytest.approx(0.0)
    for guess in (shifted, scaled, both):
        assert guess.sheet.value[place["A black_lead_check"]] == pytest.approx(12.0)
        kept = (sheet.round == 1) | (sheet.quantity == Quantity.BATTERY)
        assert np.all(guess.sheet.value[kept] == sheet.value[kept])
        assert np.all(guess.sheet.deviation >= sheet.deviation)
    unchecked = problem_of(job("12", replace(BAD, black_lead_check=None))).sheet
    assert lead_guesses(unchecked, (0,)) == []
    assert lead_guesses(sheet, ()) == []


def test_what_a_resistor_left_behind_a_bad_point_suggests_nothing() -> None:
    loaded = replace(BAD, load_ohms=1000.0, volts_loaded=taken({"1": 0.02}))
    sheet = problem_of(job("12", loaded)).sheet
    i = sheet.label.index("A volts_loaded 1")
    assert all(guess.sheet.deviation[i] > 50.0 for guess in lead_guesses(sheet, (0,)))


@given(st.floats(-4.0, 4.0), st.floats(2.0, 7.5))
def test_leads_are_put_where_they_are_guessed(lift: float, decades: float) -> None:
    layout = Layout(n_free=1, states=(0,), n_driven=1, ends=((0,), (0,)))
    rounds, ohm = np.array([1]), 10.0**decades
    z = behind_leads(layout, np.ones((1, layout.size)), rounds, np.array([lift]), np.array([ohm]))
    kind = np.array([[LeadKind.SOUND, LeadKind.WANDERING]], dtype=np.int64)
    z[:, layout.point(0)] = 0.0
    small = small_sheet(2, (UNPLUGGED, KEY_ON))
    offset, found = (f.value[0, 1, 0] for f in lead_at(layout, small, z, kind, sensitivities=False))
    assert offset == pytest.approx(lift, abs=1e-9)
    assert found == pytest.approx(ohm, rel=1e-6)
    untouched = np.delete(z, [*layout.lead(1), layout.point(0)], axis=1)
    assert np.all(untouched == 1.0)


def test_without_a_check_a_lead_may_go_either_way() -> None:
    sheet = problem_of(job("12", replace(BAD, black_lead_check=None))).sheet
    layout = Layout(n_free=1, states=(0,), n_driven=1, ends=((0,),))
    z = no_guess(sheet).behind(layout, np.zeros((1, layout.size)), (0,))
    kind = np.array([[LeadKind.WANDERING]], dtype=np.int64)
    offset, ohm = lead_at(layout, sheet, z, kind, sensitivities=False)
    assert offset.value.tolist() == [[[0.0]]]
    assert 0.5 < 1e7 / (1e7 + ohm.value[0, 0, 0]) < 0.95
