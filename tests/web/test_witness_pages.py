"""A diagram and the control unit's values beside the readings."""

import pytest
from fastapi import FastAPI

from backprobe.services.answer_archive import StoredAnswer
from backprobe.services.job_book import JobBook
from backprobe.store.columns import now
from backprobe.store.engine import Store
from tests.web.browsers import browser
from tests.web.filled import answer, example


def diagrams(store: Store, sheet: str) -> list[str]:
    """Roles by the diagram, terminal by terminal."""
    return [t.diagram for t in JobBook(store).sheet(sheet)[2].connector.terminals]


def test_without_an_answer_the_page_says_so(app: FastAPI, store: Store) -> None:
    _, sheet = example(store, "both-wires-at-five-volts")
    shown = browser(app).get(f"/sheets/{sheet}/witnesses").text
    assert "Nothing is worked out yet." in shown
    assert "coolant temperature" in shown


def test_the_diagram_is_stored_and_held_against_the_readings(
    app: FastAPI, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    _, sheet = example(store, "both-wires-at-five-volts")
    kept = StoredAnswer(answer(), "", {}, {}, now(), 1.0, "")
    monkeypatch.setattr(app.state.answers, "latest", lambda _sheet: kept)
    roles = {"diagram-0": "signal-thermistor", "diagram-1": "supply-battery"}
    stored = browser(app).post(f"/sheets/{sheet}/witnesses", data=roles)
    assert (stored.status_code, stored.headers["location"]) == (303, f"/sheets/{sheet}/witnesses")
    assert diagrams(store, sheet) == ["signal-thermistor", "supply-battery"]
    shown = browser(app).get(f"/sheets/{sheet}/witnesses").text
    assert "Diagram and readings agree." in shown
    assert "The readings contradict the diagram." in shown
    assert shown.count('<option value="supply-battery" selected>') == 1
    browser(app).post(f"/sheets/{sheet}/witnesses", data={})
    assert diagrams(store, sheet) == ["", ""]


def test_a_role_that_is_none_is_refused_and_the_other_kept(app: FastAPI, store: Store) -> None:
    _, sheet = example(store)
    answer = browser(app).post(
        f"/sheets/{sheet}/witnesses", data={"diagram-0": "sensor-ground", "diagram-1": "<b>x"}
    )
    assert answer.status_code == 422
    assert '<option value="sensor-ground" selected>' in answer.text
    assert "<b>x" not in answer.text
    assert diagrams(store, sheet)[0] == ""


def test_a_closed_job_takes_no_diagram(app: FastAPI, store: Store) -> None:
    job, sheet = example(store)
    JobBook(store).close(job)
    assert "Store the diagram" not in browser(app).get(f"/sheets/{sheet}/witnesses").text
    refused = browser(app).post(f"/sheets/{sheet}/witnesses", data={"diagram-0": "shield"})
    assert "The job is closed." in refused.text
    assert diagrams(store, sheet)[0] == ""


def test_a_sheet_that_is_not_there(app: FastAPI) -> None:
    assert browser(app).get("/sheets/none/witnesses").status_code == 404
