"""A driver that barely pulses is looked at as one that is off, or on, altogether."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from backprobe.core.inference.fit import Fit
from backprobe.core.inference.layout import layout_of
from backprobe.core.inference.prior import PriorTable, to_coordinates
from backprobe.core.inference.round_values import plan_rounds, round_values
from backprobe.job import Indication, Round
from backprobe.services.engine import Posterior
from backprobe.services.explain import posterior_of
from backprobe.services.held_still import NEARLY, Array, held_still
from tests.services.sheets import job, taken, unplugged

BATTERY = Indication(12.5)
# A heated oxygen sensor, engine off: its heater is off, so both ends of it stand at battery voltage
# (common practice, no source). The bias of 0.45 V is that of makers' texts.
SHEET = job(
    "1234",
    unplugged("A", {"1": 0.45, "2": 0.002, "3": 2.9, "4": 12.4}, battery=12.5, check=12.5),
    Round(
        "B",
        plugged=True,
        key="on",
        battery_volts=BATTERY,
        black_lead_check=BATTERY,
        volts=taken({"1": 0.45, "2": 0.003, "3": 12.38, "4": 12.39}),
    ),
)


@cache
def found() -> Posterior:
    return posterior_of(SHEET)


def with_share(share: float) -> tuple[Fit, int]:
    """The best explanation, its heater on for a share of the time, and the heater's value slot."""
    posterior = found()
    fits, table, sheet = (
        posterior.fits[0],
        posterior.bench.hypotheses.table,
        posterior.problem.sheet,
    )
    best = int(posterior.groups[0][0].modes[0])
    hypothesis = fits.hypothesis[best]
    family = posterior.bench.hypotheses.pairs[int(hypothesis)][0]
    assert family.id == "oxygen-four-wire"
    slot = int(table.circuits.switch_share[hypothesis, 0])
    q = int(np.flatnonzero(table.driven_slot[hypothesis] == slot)[0])
    layout, z = layout_of(table, sheet), fits.z[best].copy()
    state = sheet.rounds[0].state
    whole = table.driven_prior.rows(np.array([hypothesis])).in_states(np.array(state))
    prior = PriorTable(*(getattr(whole, n)[:, q] for n in PriorTable.__dataclass_fields__))
    z[layout.base(state).start + q] = to_coordinates(prior, np.array([share]))[0]
    for r in range(layout.n_round):
        z[layout.change(r).start + q] = 0.0
    return replace(fits.rows(np.array([best])), z=z[None]), slot


def shares(fits: Fit, z: Array, slot: int) -> Array:
    """Share of time on in each round, (n, R)."""
    posterior = found()
    table, sheet = posterior.bench.hypotheses.table, posterior.problem.sheet
    rows = table.rows(np.repeat(fits.hypothesis, len(z)))
    plan = plan_rounds(rows, layout_of(table, sheet), sheet)
    return np.asarray(round_values(plan, z).value[:, :, 0, slot])


@pytest.mark.parametrize(("share", "steady"), [(0.004, 0.0), (0.05, 0.0), (0.97, 1.0)])
def test_what_barely_pulses_is_tried_standing_still(share: float, steady: float) -> None:
    fits, slot = with_share(share)
    assert shares(fits, fits.z, slot) == pytest.approx(share)
    posterior = found()
    source, z = held_still(posterior.bench, posterior.problem.sheet, fits)
    assert source.tolist() == [0]
    assert shares(fits, z, slot) == pytest.approx(steady, abs=1e-12)
    # Nothing else is touched.
    assert np.sum(z != fits.z) == 1


@pytest.mark.parametrize("share", [0.0, 1.5 * NEARLY, 0.5, 1.0])
def test_what_stands_still_or_plainly_pulses_is_left_alone(share: float) -> None:
    fits, _ = with_share(share)
    posterior = found()
    assert not held_still(posterior.bench, posterior.problem.sheet, fits)[0].size


def test_circuits_without_a_switch_have_nothing_to_hold() -> None:
    other = posterior_of(job("12", unplugged("A", {"1": 5.0, "2": 0.003})))
    some = np.flatnonzero([f.id == "thermistor-two-wire" for f, _ in other.bench.hypotheses.pairs])
    fits = other.fits[0].rows(np.flatnonzero(np.isin(other.fits[0].hypothesis, some)))
    assert fits.hypothesis.size
    assert not held_still(other.bench, other.problem.sheet, fits)[0].size
