"""Sensor curves on a page."""

import pytest
from fastapi import FastAPI

from backprobe.store.engine import Store
from tests.web.browsers import browser
from tests.web.filled import HOSTILE, example


def shown(app: FastAPI, status: int = 200, **typed: str) -> str:
    answer = browser(app).get("/curves", params=typed)
    assert answer.status_code == status, answer.text
    return answer.text


def test_the_usual_curve_is_shown_with_its_source(app: FastAPI) -> None:
    text = shown(app)
    assert '<option value="ntc-2k5-at-20" selected>' in text
    assert "Source: published curve table" in text


def test_what_a_reading_means(app: FastAPI) -> None:
    text = shown(app, reading="2.41 V", pull_up="2.2k", do="means")
    assert "2.41 V means 25." in text
    assert "volts below a pull-up of 2.2 kohm" in text
    assert ">2.66 V</td>" in text
    assert "40.0 °C is 1.175 kohm" in shown(app, reading="40 degC", do="means")
    hertz = shown(app, reading="3.05 kHz", curve="air-mass-frequency-one", do="means")
    assert "3.05 kHz stands for 25 g/s" in hertz


def test_which_curve_fits(app: FastAPI) -> None:
    text = shown(app, points="2.2k = 2.50 V\r\n0 degC=3.64 V\r\n90 degC=0.50 V", do="fit")
    assert "Of the curves kept here only one is likely" in text
    assert "The pull-up is 2.2 kohm" in text
    assert "<strong>ntc-2k5-at-20</strong>" in text


@pytest.mark.parametrize(
    ("typed", "field", "said"),
    [
        ({"reading": "500", "do": "means"}, "reading", "is no reading with a unit"),
        ({"reading": "2.41 V", "do": "means"}, "reading", "only with the pull-up known"),
        ({"reading": "5 V", "pull_up": "1k", "do": "means"}, "reading", "unplugged sensor"),
        ({"pull_up": "much"}, "pull_up", "isn&#39;t a resistance"),
        ({"pull_up": "1k", "supply": "0 V"}, "supply", "have to be above zero"),
        ({"curve": "none"}, "curve", "No curve is named"),
        ({"points": "20 = 3", "do": "fit"}, "points", "is no known point"),
        ({"points": "20 degC = 3 V", "do": "fit"}, "points", "One point tells neither"),
        ({"points": HOSTILE, "do": "fit"}, "points", "is no known point"),
        ({"points": "2k=3 V", "fit_supply": "x", "do": "fit"}, "fit_supply", "isn&#39;t a voltage"),
    ],
)
def test_a_mistake_is_said_beside_its_field(
    app: FastAPI, typed: dict[str, str], field: str, said: str
) -> None:
    text = shown(app, 422, **typed)
    assert said in text.partition(f'id="{field}-error"')[2].partition("</p>")[0]
    assert "<script>alert" not in text


def test_a_job_is_linked(app: FastAPI, store: Store) -> None:
    job, _ = example(store)
    assert f'href="/jobs/{job}"' in shown(app, job=job)
    assert browser(app).get("/curves?job=none").status_code == 404
