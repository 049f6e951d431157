"""The air check in the browser: from a job or typed, answered without scripts, mistakes kept."""

from urllib.parse import urlencode

from fastapi import FastAPI

from backprobe.job import parse_job
from backprobe.services.job_book import JobBook
from backprobe.store.engine import Store
from tests.web.browsers import browser
from tests.web.filled import HOSTILE, example

IDLE = {
    "displacement": "2.0",
    "speed-1": "780 rpm",
    "pressure-1": "340 mbar",
    "temperature-1": "32",
    "flow-1": "2,4 g/s",
    "do": "check",
}
FURTHER = {
    "trim-1": "+35 %",
    "speed-2": "2500",
    "pressure-2": "31",
    "temperature-2": "30",
    "flow-2": "7.4",
    "trim-2": "35",
    "speed-4": "4000",
    "pressure-4": "97",
    "temperature-4": "30",
    "flow-4": "46.6",
    "trim-4": "35",
}
JOB = """
format = 1
[job]
title = "Stumbles"
[vehicle.engine]
displacement_l = 1.598
fuel = "petrol"
[connector]
name = "air mass"
[[connector.terminal]]
pin = "1"
[[connector.terminal]]
pin = "2"
[[round]]
name = "A"
plugged = true
key = "on"
scan = { "manifold pressure" = "99 kPa" }
[[round]]
name = "B"
plugged = true
key = "run"
rpm = 780
[round.scan]
"manifold pressure" = "34 kPa"
"air mass flow" = "9.4 kg/h"
"intake air temperature" = 32
"""


def asked(app: FastAPI, **values: str) -> tuple[int, str]:
    shown = browser(app).get(f"/air?{urlencode(values)}")
    return shown.status_code, shown.text


def test_the_form_stands_alone(app: FastAPI) -> None:
    status, text = asked(app)
    assert status == 200
    assert "Check the air" in text
    assert "What remains possible" not in text
    assert 'href="/air"' in browser(app).get("/").text


def test_typed_points_are_answered_in_words_with_a_picture(app: FastAPI) -> None:
    status, text = asked(app, **IDLE, **FURTHER)
    assert status == 200
    assert "The sensor reads low everywhere" in text
    assert "! below" in text
    assert "What limits this" in text
    assert 'class="bp-picture"' in text
    assert "belts and fans" in text
    assert 'value="340 mbar"' in text  # what was typed stands in the form again


def test_one_point_cannot_tell(app: FastAPI) -> None:
    status, text = asked(app, **IDLE)
    assert status == 200
    assert "Can&#39;t tell with this" in text
    assert "Read short and long fuel trim at the same points" in text


def test_the_standing_engine_is_checked_alone(app: FastAPI) -> None:
    status, text = asked(
        app, **{"still-manifold": "99", "still-boost": "91", "soaked-coolant": "18",
                "soaked-outside": "19", "hours": "9", "do": "check"}
    )  # fmt: skip
    assert status == 200
    assert "They contradict each other." in text
    assert "Cold soak" in text


def test_a_job_fills_the_form(app: FastAPI, store: Store) -> None:
    job, _ = JobBook(store).take_in(parse_job(JOB, "job"))
    assert f'href="/air?job={job}"' in browser(app).get(f"/jobs/{job}").text
    status, text = asked(app, job=job)
    assert status == 200
    for value in ("1.598 l", "99 kPa", "780 rpm", "34 kPa", "9.4 kg/h", "32 °C"):
        assert f'value="{value}"' in text
    assert "Stumbles" in text


def test_mistakes_stand_beside_their_fields_and_nothing_typed_is_lost(app: FastAPI) -> None:
    status, text = asked(app, **{**IDLE, "pressure-1": "34 V", "temperature-1": ""})
    assert status == 422
    assert 'id="pressure-1-error"' in text
    assert "A point needs this too. Read it at the same moment." in text
    assert 'value="34 V"' in text


def test_each_kind_of_mistake_has_its_field(app: FastAPI) -> None:
    for changed, field in (
        ({"displacement": ""}, "displacement"),
        ({"fuel": "coal"}, "displacement"),
        ({"barometer": "twelve"}, "barometer"),
        ({"height": "high"}, "height"),
        ({"humidity": "damp"}, "humidity"),
        ({"flow-1": "0"}, "displacement"),
        ({"still-manifold": "99"}, "still-manifold"),
        ({"soaked-coolant": "18", "soaked-intake": "19", "hours": "1"}, "hours"),
    ):
        status, text = asked(app, **{**IDLE, **changed})
        assert status == 422, changed
        assert f'id="{field}-error"' in text, changed


def test_nothing_typed_is_said(app: FastAPI) -> None:
    status, text = asked(app, do="check")
    assert status == 422
    assert "Nothing is typed yet." in text


def test_hostile_values_stay_text(app: FastAPI, store: Store) -> None:
    example(store)
    for field in ("displacement", "flow-1", "height", "still-manifold"):
        _, text = asked(app, **{**IDLE, field: HOSTILE})
        assert "<script>alert" not in text


def test_a_missing_job_is_missing(app: FastAPI) -> None:
    assert asked(app, job="0000000000000000")[0] == 404
