"""Values at a physical limit: what lies beyond them counts by the normal law's tail."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import norm

from backprobe.core.inference.layout import layout_of
from backprobe.core.inference.limits import limit_side, log_tail
from backprobe.core.inference.prior import PriorTable, to_values
from backprobe.core.inference.round_values import plan_rounds, round_values
from backprobe.core.inference.sheet import Quantity
from tests.core.inference.small_sheets import IDLE, KEY_ON, hypotheses, sheet


@pytest.mark.parametrize("edge", [0.3, 1.2, 2.5])
def test_laplace_with_the_tail_is_the_integral_over_what_lies_beyond(edge: float) -> None:
    # A likelihood of one beyond the edge and of nothing before it: its integral is the tail.
    exact, _ = quad(norm.pdf, edge, np.inf)
    laplace = -0.5 * edge**2  # the prior at the point, whole bell counted
    side, z = np.array([[1]]), np.array([[edge]])
    assert laplace + log_tail(side, z)[0] == pytest.approx(np.log(exact), rel=1e-9)
    assert log_tail(-side, -z)[0] == pytest.approx(log_tail(side, z)[0], rel=1e-12)
    assert log_tail(0 * side, z)[0] == 0.0


def test_sides_are_where_a_small_step_outward_changes_no_value() -> None:
    table = hypotheses("solenoid-two-wire", 2).table
    readings = sheet(2, (KEY_ON,), (Quantity.VOLTS, 0, 0, 12.0, 0.02))
    layout = layout_of(table, readings)
    at = layout.base(0)
    prior = PriorTable(
        *(getattr(table.driven_prior, n)[:, 0] for n in PriorTable.__dataclass_fields__)
    )
    rng = np.random.default_rng(2)
    found = []
    for _ in range(20):
        z = rng.normal(0.0, 2.0, (table.n_wire.size, layout.size))
        side = limit_side(plan_rounds(table, layout, readings), z)[:, at]
        here, _ = to_values(prior, z[:, at])
        there, _ = to_values(prior, z[:, at] + 0.01 * side)
        assert np.all(here[side != 0] == there[side != 0])
        found.append(side)
    # A driver is on or off for all of the time in some draws, pulsed in others.
    assert {-1, 0, 1} <= set(np.concatenate(found).ravel().tolist())


def test_at_a_limit_no_change_from_round_to_round_is_told() -> None:
    # A driver that is off all of the time stays so for half of all changes: whether a fit stands
    # exactly there or a hair beyond must not matter.
    table = hypotheses("solenoid-two-wire", 2).table
    sound = table.rows(np.zeros(1, dtype=np.int64))
    readings = sheet(2, (KEY_ON,), (Quantity.VOLTS, 0, 0, 12.0, 0.02))
    layout = layout_of(sound, readings)
    place = int(np.flatnonzero((sound.driven_slot == sound.circuits.switch_share[:, :1])[0])[0])
    slopes = []
    for change in (0.0, -0.5, 0.5):
        z = np.zeros((1, layout.size))
        z[0, layout.base(0).start + place] = -5.0
        z[0, layout.change(0).start + place] = change
        found = round_values(plan_rounds(sound, layout, readings), z)
        slopes.append(found.change_slope[0, 0, 0, place])
    assert slopes[0] == slopes[1] == 0.0
    assert slopes[2] > 0.0


@pytest.mark.parametrize("engine", ["standing", "running"])
def test_what_stands_still_stands_still_in_every_round(engine: str) -> None:
    # A wheel that doesn't turn makes no voltage, however often one looks; one that turns makes
    # more or less of it (common practice, no source).
    taken_in = KEY_ON if engine == "standing" else IDLE
    table = hypotheses("pick-up-grounded", 2).table
    sound = table.rows(np.zeros(1, dtype=np.int64))
    readings = sheet(2, (taken_in, replace(taken_in, name="again")))
    layout = layout_of(sound, readings)
    z = np.random.default_rng(3).normal(0.0, 1.0, (1, layout.size))
    values = round_values(plan_rounds(sound, layout, readings), z).value
    # The last two driven quantities: the alternating voltage and its frequency.
    slots = sound.driven_slot[0]
    made = np.array([values[0, :, 0, slot] for slot in slots[slots >= 0][-2:]])
    if engine == "standing":
        assert np.all(made == 0.0)
    else:
        assert np.all(made > 0.0)
        assert np.all(made[:, 0] != made[:, 1])
