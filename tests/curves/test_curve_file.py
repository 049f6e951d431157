"""Curve files: what is read, and what is refused with its line."""

import re

import numpy as np
import pytest

from backprobe.curves.curve_file import OutputCurve, TemperatureCurve, parse_curve
from backprobe.errors import CurveFileError

GOOD = """\
format = 1
id = "mine"
title = "coolant thermistor"
kind = "ntc_beta"
about = "One of my own."
source = "a maker's data sheet"
tolerance_percent = 5.0
valid_degc = [-40.0, 130.0]
r_ref_ohm = 2500.0
t_ref_degc = 25.0
beta_kelvin = 3500.0
check = [{ t_degc = 100.0, r_ohm = 236.2, rel_tol = 1e-3 }]
"""
FLOW = """\
format = 1
id = "flow"
title = "air mass"
kind = "transfer"
about = "One of my own."
source = "a maker's data sheet"
tolerance_percent = 4.0
hertz = [2000.0, 3000.0, 4000.0]
kg_per_h = [36.0, 90.0, 180.0]
check = [{ hertz = 2000.0, kg_per_h = 36.0, rel_tol = 1e-9 }]
"""


def test_a_curve_of_one_constant() -> None:
    curve = parse_curve(GOOD, "folder/mine.toml")
    assert isinstance(curve, TemperatureCurve)
    assert (curve.id, curve.kind, curve.valid_degc) == ("mine", "ntc_beta", (-40.0, 130.0))
    assert curve.standard_tolerance == pytest.approx(0.05 / 3**0.5)
    # By hand: 2500 exp(3500 (1/373.15 - 1/298.15)).
    assert curve.law.ohm(np.array(100.0)) == pytest.approx(236.2, rel=1e-3)


def test_a_transfer_is_kept_in_plain_units() -> None:
    curve = parse_curve(FLOW, "flow.toml")
    assert isinstance(curve, OutputCurve)
    assert (curve.output_unit, curve.quantity_unit) == ("hertz", "gram per second")
    assert curve.table.quantity_at(np.array(3000.0)) == pytest.approx(25.0)


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("format = 1", "format = 2", "mine.toml, line 1: A curve file begins with format = 1."),
        ('kind = "ntc_beta"', 'kind = "ntc_bet"', 'line 4: "ntc_bet" isn\'t a kind of curve. Did'),
        ("source", "sauce", 'line 6: Unknown key "sauce" in a curve of kind ntc_beta. Did you'),
        ('about = "One of my own."\n', "", "mine.toml: A curve needs about, a text."),
        ('"mine"', '"yours"', 'line 2: The id "yours" isn\'t the name of the file.'),
        ("5.0\n", "80\n", "line 7: The tolerance has to lie between 0 and 50 %."),
        ("[-40.0, 130.0]", "[130.0, -40.0]", "line 8: valid_degc has its limits reversed."),
        ("[-40.0, 130.0]", "130", "line 8: valid_degc has to be a list of 2 numbers at least."),
        ("3500.0", '"3500"', "line 11: A curve of this kind needs beta_kelvin, a number."),
        ("236.2", "300.0", "line 12: Example 1 asks for 300, the curve gives 236."),
        ("t_degc = 100.0, ", "", "line 12: Example 1 can't be read."),
        ("3500.0", "3500.0 x", "line 11: This isn't TOML"),
        ("3500.0", "0.0", "line 8: The curve turns, or has no resistance, within its limits."),
    ],
)
def test_a_mistake_is_told_with_its_line(old: str, new: str, told: str) -> None:
    with pytest.raises(CurveFileError, match=re.escape(told)):
        parse_curve(GOOD.replace(old, new, 1), "mine.toml")


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("[36.0, 90.0, 180.0]", "[36.0, 90.0, 80.0]", "The output has to rise from row to row"),
        ("hertz = [2000.0, 3000.0, 4000.0]\n", "", "one column of outputs and one of quantities"),
    ],
)
def test_a_table_that_cannot_be_is_refused(old: str, new: str, told: str) -> None:
    with pytest.raises(CurveFileError, match=told):
        parse_curve(FLOW.replace(old, new), "flow.toml")
