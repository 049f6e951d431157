"""Fuel trims on a page."""

import pytest
from fastapi import FastAPI

from backprobe.job import parse_job
from backprobe.services.job_book import JobBook
from backprobe.store.engine import Store
from tests.web.browsers import browser
from tests.web.filled import HOSTILE, example

JOB = """
format = 1
[job]
title = "Lean at idle"
[[code]]
code = "P0171"
[code.freeze_frame]
"engine speed" = "812 rpm"
"absolute load" = "20 %"
"short fuel trim bank 1" = "7 %"
"long fuel trim bank 1" = "15.6 %"
[connector]
name = "air-mass sensor"
[[connector.terminal]]
pin = "1"
[[connector.terminal]]
pin = "2"
"""


def test_the_form_stands_alone_until_something_is_typed(app: FastAPI) -> None:
    shown = browser(app).get("/trims").text
    assert "Type them in" in shown
    assert "What remains" not in shown


def test_typed_trims_are_explained_on_the_same_page(app: FastAPI) -> None:
    typed = {
        "trim-idle-1": "7+15",
        "trim-2500-1": "+5 %",
        "trim-loaded-1": "1",
        "metering": "air-mass",
        "do": "explain",
    }
    shown = browser(app).get("/trims", params=typed).text
    assert "air gets in behind the air-mass sensor (intake leak)" in shown
    assert "Proof before repair" in shown
    assert "<svg" in shown
    assert 'value="7+15"' in shown
    assert '<option value="air-mass" selected>' in shown


def test_a_finding_is_taken_into_account_and_kept_in_the_form(app: FastAPI) -> None:
    typed = {"trim-idle-1": "12", "trim-2500-1": "13", "trim-loaded-1": "14"}
    found = typed | {"found-fuel-pressure-under-load": "low"}
    before, after = (browser(app).get("/trims", params=each).text for each in (typed, found))
    assert "Something is wrong: too little fuel is delivered" not in before
    assert "too little fuel is delivered" in after.partition("What remains")[0]
    assert '<option value="low" selected>' in after
    refused = browser(app).get("/trims", params=typed | {"found-intake-smoke": "maybe"})
    assert refused.status_code == 422
    assert "is no outcome of" in refused.text


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"trim-idle-1": "lean"}, "isn&#39;t a fuel trim"),
        ({"trim-idle-1": "220"}, "is above 100 %"),
        ({"do": "explain"}, "No trim is typed yet."),
        ({"trim-idle-1": "5", "metering": "hand"}, "is no way to meter air"),
        ({"trim-idle-1": HOSTILE}, "isn&#39;t a fuel trim"),
    ],
)
def test_a_mistake_is_said_and_the_rest_kept(
    app: FastAPI, typed: dict[str, str], said: str
) -> None:
    shown = browser(app).get(
        "/trims", params={"trim-2500-2": "4.5"} | typed if "do" not in typed else typed
    )
    assert shown.status_code == 422
    assert said in shown.text
    assert "<script>alert" not in shown.text
    assert "do" in typed or 'value="4.5"' in shown.text


def test_a_job_brings_its_freeze_frame(app: FastAPI, store: Store) -> None:
    key, _ = JobBook(store).take_in(parse_job(JOB, "lean.toml"))
    shown = browser(app).get("/trims", params={"job": key}).text
    assert "Use the freeze frame of P0171 too" in shown
    assert f'href="/jobs/{key}"' in shown
    used = browser(app).get("/trims", params={"job": key, "frames": "yes", "do": "explain"}).text
    assert "freeze frame of P0171: +2" in used
    assert browser(app).get("/trims", params={"job": "none"}).status_code == 404


def test_a_job_leads_there(app: FastAPI, store: Store) -> None:
    job, _ = example(store)
    shown = browser(app).get(f"/jobs/{job}").text
    assert f'href="/trims?job={job}"' in shown
    assert f'href="/curves?job={job}"' in shown
