"""Meters, costs and limits by plain forms."""

import re

import pytest
from fastapi import FastAPI

from backprobe.services.limits import LIMITS, SENSOR_GROUND
from backprobe.services.settings import costs_in_force, limits_in_force, meters
from backprobe.store.engine import Store
from backprobe.store.workshop import MeterProfile
from tests.web.browsers import browser
from tests.web.filled import HOSTILE

METER = {
    "was": "",
    "name": "bench <6000>",
    "counts": "6000",
    "dc_volts": "0.3 % + 2 digits",
    "ac_volts": "",
    "ohms": "0.5 % + 2 digits",
    "hertz": "",
    "input_resistance": "10 Mohm",
}


def kept_meters(store: Store) -> tuple[MeterProfile, ...]:
    """The meters of the store."""
    with store.read() as session:
        return meters(session)


def test_a_meter_is_added_changed_and_forgotten(app: FastAPI, store: Store) -> None:
    here = browser(app)
    assert here.post("/settings/meter", data=METER).status_code == 303
    shown = here.get("/settings").text
    assert "bench &lt;6000&gt;" in shown
    assert "for new jobs" in shown  # the first one is the default
    form = here.get("/settings/meter", params={"name": METER["name"]}).text
    assert 'value="0.3 % + 2 digits"' in form
    assert form.count(" checked") == 1
    changed = {"was": METER["name"], "name": "bench", "default": "yes"}
    here.post("/settings/meter", data=METER | changed)
    here.post("/settings/meter", data=METER | {"name": "pocket", "counts": "2000"})
    assert [(m.name, m.meter.counts, m.is_default) for m in kept_meters(store)] == [
        ("bench", 6000, True),
        ("pocket", 2000, False),
    ]
    here.post("/settings/meter/default", data={"name": "pocket"})
    assert [m.is_default for m in kept_meters(store)] == [False, True]
    assert 'value="pocket" selected' in here.get("/jobs/new").text
    here.post("/settings/meter/forget", data={"name": "bench"})
    assert [m.name for m in kept_meters(store)] == ["pocket"]


@pytest.mark.parametrize(
    ("field", "typed"),
    [
        ("name", ""),
        ("counts", "many"),
        ("dc_volts", "good"),
        ("input_resistance", "10 V"),
    ],
)
def test_a_mistake_in_a_meter_is_said_and_the_rest_kept(
    app: FastAPI, store: Store, field: str, typed: str
) -> None:
    answer = browser(app).post("/settings/meter", data=METER | {field: typed})
    assert answer.status_code == 422
    assert f'id="{field}-error"' in answer.text
    assert answer.text.count('class="error"') == 1
    assert 'value="0.5 % + 2 digits"' in answer.text
    assert kept_meters(store) == ()


def test_a_name_that_is_taken_is_said_beside_it(app: FastAPI, store: Store) -> None:
    browser(app).post("/settings/meter", data=METER)
    answer = browser(app).post("/settings/meter", data=METER)
    assert 'id="name-error"' in answer.text
    assert len(kept_meters(store)) == 1
    assert browser(app).get("/settings/meter", params={"name": "x"}).status_code == 404


def test_costs_are_kept_and_reset(app: FastAPI, store: Store) -> None:
    here = browser(app)
    typed = {"hour": "110", "part air-mass": "99,50", "currency": "CHF"}
    assert here.post("/settings/costs", data=typed).status_code == 303
    with store.read() as session:
        costs = costs_in_force(session)
    assert (costs.of("hour"), costs.of("part air-mass"), costs.currency) == (110.0, 99.5, "CHF")
    shown = here.get("/settings").text
    assert 'name="hour" value="110"' in shown
    assert "Price of an hour of work, CHF" in shown
    here.post("/settings/costs/reset")
    with store.read() as session:
        assert not costs_in_force(session).own


def test_every_mistake_in_costs_is_said_beside_its_field(app: FastAPI, store: Store) -> None:
    typed = {"hour": HOSTILE[:20], "pace": "900", "currency": "12", "return visit": "170"}
    answer = browser(app).post("/settings/costs", data=typed)
    assert answer.status_code == 422
    for name in ("cost-hour", "cost-pace", "currency"):
        assert f'id="{name}-error"' in answer.text
    assert "3 fields need mending" in answer.text
    assert 'value="170"' in answer.text
    assert "<script>alert" not in answer.text
    with store.read() as session:
        assert not costs_in_force(session).own


def test_limits_are_kept_with_their_sources_beside_them(app: FastAPI, store: Store) -> None:
    here = browser(app)
    shown = here.get("/settings").text
    for limit in LIMITS.values():
        assert limit.title.replace("'", "&#39;") in shown
        assert all(source.replace("'", "&#39;") in shown for source in limit.sources)
    typed = {f"{SENSOR_GROUND} good": "30 mV", f"{SENSOR_GROUND} bad": "0.08"}
    assert here.post("/settings/limits", data=typed).status_code == 303
    with store.read() as session:
        found = limits_in_force(session)[SENSOR_GROUND]
    assert (found.good, found.bad) == (0.03, 0.08)
    again = here.get("/settings").text
    assert re.search(r'name="sensor ground good" value="30 mV"', again)
    assert "own values" in again
    here.post("/settings/limits/reset")
    with store.read() as session:
        assert not limits_in_force(session).own


def test_a_limit_the_wrong_way_round_is_said_and_kept(app: FastAPI, store: Store) -> None:
    typed = {f"{SENSOR_GROUND} good": "200 mV", "ripple good": "60 mV"}
    answer = browser(app).post("/settings/limits", data=typed)
    assert answer.status_code == 422
    assert 'id="limit-sensor-ground-error"' in answer.text
    assert 'value="200 mV"' in answer.text
    assert 'value="60 mV"' in answer.text
    with store.read() as session:
        assert not limits_in_force(session).own
