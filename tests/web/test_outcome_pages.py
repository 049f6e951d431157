"""The outcome: verdict with its proof, repair, and the same readings after it."""

import pytest
from fastapi import FastAPI

from backprobe.job import Connector, Terminal
from backprobe.services.answer_archive import StoredAnswer
from backprobe.services.job_book import JobBook
from backprobe.services.proof import proof_steps
from backprobe.store.columns import now
from backprobe.store.engine import Store
from tests.web.browsers import browser
from tests.web.filled import HOSTILE, answer, example

FAULT = "open:sensor-ground"


def test_an_outcome_is_stored_with_the_proof_that_was_seen(app: FastAPI, store: Store) -> None:
    key, sheet = example(store)
    steps = proof_steps(FAULT)
    answer = browser(app).post(
        f"/jobs/{key}/outcome",
        data={
            "fault": FAULT,
            "terminal": ["2"],
            "proof": [steps[0], "something made up"],
            "cause": "chafed",
            "repair": "new wire",
            "not_tested": "wiggled",
        },
    )
    assert (answer.status_code, answer.headers["location"]) == (303, f"/jobs/{key}")
    kept = JobBook(store).job(key).outcome
    assert kept is not None
    assert (kept.fault, kept.terminals, kept.proof) == (FAULT, (f"{sheet}/2",), (steps[0],))
    shown = browser(app).get(f"/jobs/{key}").text
    assert "the sensor ground wire is broken" in shown
    assert steps[0].replace("'", "&#39;") in shown
    assert steps[1] in shown.split("Proof not seen")[1]
    again = browser(app).get(f"/jobs/{key}/outcome").text
    assert f'value="{FAULT}" selected' in again
    assert again.count(" checked") == 2  # one terminal, one proof


def test_terminals_of_one_name_are_told_apart(app: FastAPI, store: Store) -> None:
    key, sheet = example(store)
    book = JobBook(store)
    other = book.add_sheet(key, Connector("pedal", terminals=(Terminal("1"), Terminal("2"))))
    sent = browser(app).post(
        f"/jobs/{key}/outcome", data={"fault": FAULT, "terminal": f"{other}/2"}
    )
    assert sent.status_code == 303
    form = browser(app).get(f"/jobs/{key}/outcome").text
    assert f'value="{other}/2" checked' in form
    assert f'value="{sheet}/2">' in form
    assert "terminal 2 of pedal" in browser(app).get(f"/jobs/{key}").text


def test_nothing_is_chosen_beforehand(app: FastAPI, store: Store) -> None:
    key, _ = example(store)
    assert '<option value="" selected>choose' in browser(app).get(f"/jobs/{key}/outcome").text
    refused = browser(app).post(f"/jobs/{key}/outcome", data={"fault": "", "cause": HOSTILE})
    assert refused.status_code == 422
    assert 'id="fault-error"' in refused.text
    assert "&lt;script&gt;alert(1)" in refused.text
    assert "<script>alert" not in refused.text
    assert JobBook(store).job(key).outcome is None


def test_another_fault_is_put_together(app: FastAPI, store: Store) -> None:
    key, _ = example(store)
    swapped = {"fault": "other", "kind": "swapped", "role": "sensor-ground"}
    refused = browser(app).post(f"/jobs/{key}/outcome", data=swapped)
    assert "Exchanged wires are two." in refused.text
    browser(app).post(f"/jobs/{key}/outcome", data=swapped | {"second": "signal-thermistor"})
    kept = JobBook(store).job(key).outcome
    assert kept is not None
    assert kept.fault == "swapped:sensor-ground+signal-thermistor"
    missing = browser(app).post(f"/jobs/{key}/outcome", data={"fault": "other", "kind": "open"})
    assert "needs its kind and its wire" in missing.text


def test_the_proof_is_shown_without_scripts(app: FastAPI, store: Store) -> None:
    key, _ = example(store)
    typed = {"fault": "control-unit-input:signal-analogue", "do": "proof", "cause": "to be kept"}
    shown = browser(app).post(f"/jobs/{key}/outcome", data=typed)
    assert shown.status_code == 200
    assert "to be kept" in shown.text
    assert shown.text.count('name="proof"') == 3
    assert JobBook(store).job(key).outcome is None
    piece = browser(app).get("/fragments/proof", params={"fault": typed["fault"]}).text
    assert piece.count('name="proof"') == 3


def test_storing_and_closing_at_once(app: FastAPI, store: Store) -> None:
    key, _ = example(store)
    browser(app).post(f"/jobs/{key}/outcome", data={"fault": "none", "do": "close"})
    assert JobBook(store).job(key).closed_at is not None
    shown = browser(app).get(f"/jobs/{key}/outcome").text
    assert "The job is closed." in shown
    assert "fieldset disabled" in shown
    refused = browser(app).post(f"/jobs/{key}/outcome", data={"fault": FAULT})
    assert refused.status_code == 409
    assert len(JobBook(store).job(key).outcomes) == 1


def test_the_sheet_is_repeated_and_compared(app: FastAPI, store: Store) -> None:
    key, sheet = example(store)
    book = JobBook(store)
    (first, *_) = book.job(key).sheets[0].rounds
    place = next(e.place for e in first.entries if e.quantity == "volts")
    book.enter(first.key, ("volts", place), "4.98 V")
    answer = browser(app).post(f"/sheets/{sheet}/repeat")
    again = next(s for s in book.job(key).sheets if s.repeats == sheet)
    assert (answer.status_code, answer.headers["location"]) == (303, f"/sheets/{again.key}")
    assert browser(app).post(f"/sheets/{sheet}/repeat").headers["location"].endswith(again.key)
    waiting = browser(app).get(f"/jobs/{key}/outcome").text
    assert "not read yet" in waiting
    assert "<svg" not in waiting
    repeated = next(r for r in again.rounds if r.repeats == first.key)
    book.enter(repeated.key, ("volts", place), "1.20 V")
    shown = browser(app).get(f"/jobs/{key}/outcome").text
    assert '<span class="tag tag-full">changed</span>' in shown
    assert ">4.98 V</td>" in shown
    assert ">1.20 V</td>" in shown
    assert "<svg" in shown
    assert "style=" not in shown


def test_a_closed_job_is_not_repeated(app: FastAPI, store: Store) -> None:
    key, sheet = example(store)
    JobBook(store).close(key)
    assert browser(app).post(f"/sheets/{sheet}/repeat").status_code == 409
    assert len(JobBook(store).job(key).sheets) == 1


def test_verdicts_come_from_the_answer(
    app: FastAPI, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    key, _ = example(store)
    kept = StoredAnswer(answer(), "", {}, {}, now(), 1.0, "")
    monkeypatch.setattr(app.state.answers, "latest", lambda _sheet: kept)
    shown = browser(app).get(f"/jobs/{key}/outcome").text
    assert 'value="open:sensor-ground"' in shown
    assert "(terminal 2) is broken or makes no contact" in shown
    assert "(91 %)" in shown
    assert "(9 %)" in shown
