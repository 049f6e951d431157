"""Jobs begun, changed, closed, all by plain forms."""

from datetime import date

import pytest
from fastapi import FastAPI

from backprobe.job import Meter
from backprobe.services.job_book import JobBook
from backprobe.services.settings import keep_meter
from backprobe.store.engine import Store
from tests.web.browsers import browser
from tests.web.filled import HOSTILE, WIRED, example

# 49 CFR 565.15 (2011), table: the check digit of this number is X.
RIGHT_VIN, WRONG_VIN = "1M8GDM9AXKP042788", "1M8GDM9A1KP042788"
FULL = {
    "title": "Coolant reads cold when hot",
    "complaint": "Fan always on\r\nsince the gearbox was out",
    "recent_work": "gearbox out",
    "technician": "K. Nowak",
    "opened": "2026-11-24",
    "vehicle": "1.6 litre petrol hatchback",
    "vin": RIGHT_VIN.lower(),
    "odometer": "148 200 km",
    "displacement": "1,6",
    "cylinders": "4",
    "cycle": "four-stroke",
    "fuel": "petrol",
    "induction": "natural",
    "meter": "",
    **WIRED,
}


def lines(*codes: tuple[str, str, str]) -> dict[str, list[str]]:
    """Trouble codes as the form's repeated fields."""
    return {
        "code": [c for c, _, _ in codes],
        "code_status": [s for _, s, _ in codes],
        "code_frame": [f for _, _, f in codes],
    }


def test_a_new_job_is_stored_whole_and_leads_to_its_sheet(app: FastAPI, store: Store) -> None:
    typed = FULL | lines(("p0118", "pending", "engine speed = 812 rpm"), ("", "stored", ""))
    answer = browser(app).post("/jobs/new", data=typed)
    (line,), _ = JobBook(store).listed()
    record = JobBook(store).job(line.key)
    (sheet,) = record.sheets
    assert (answer.status_code, answer.headers["location"]) == (303, f"/sheets/{sheet.key}")
    head, engine = record.head, record.head.vehicle.engine
    assert head.complaint == "Fan always on\nsince the gearbox was out"
    assert (head.opened, head.technician) == (date(2026, 11, 24), "K. Nowak")
    assert (head.vehicle.vin, head.vehicle.odometer_km) == (RIGHT_VIN, 148200)
    assert (engine.displacement_l, engine.cylinders, engine.fuel) == (1.6, 4, "petrol")
    (code,) = head.codes
    assert (code.code, code.status, dict(code.freeze_frame)) == (
        "P0118",
        "pending",
        {"engine speed": "812 rpm"},
    )
    assert (sheet.connector.name, sheet.connector.kind) == ("coolant sensor", "temperature")
    assert [(t.pin, t.colour) for t in sheet.connector.terminals] == [("1", "YE/BK"), ("2", "BN")]


@pytest.mark.parametrize(
    ("field", "typed", "said"),
    [
        ("title", "", "title"),
        ("vin", "1M8GDM9A", "17"),
        ("odometer", "a lot", "isn&#39;t a whole number"),
        ("displacement", "big", "isn&#39;t a displacement in litres"),
        ("cylinders", "-4", "isn&#39;t a whole number"),
        ("opened", "yesterday", "isn&#39;t a date"),
        ("fuel", "coal", "coal"),
        ("meter", "a lost one", "There is no meter"),
        ("connector", "", "connector"),
        ("wires", "1 YE\n2 XX", "Line 2"),
        ("wires", "1 YE", "terminal"),
    ],
)
def test_a_mistake_is_said_beside_its_field_and_all_values_are_kept(
    app: FastAPI, store: Store, field: str, typed: str, said: str
) -> None:
    answer = browser(app).post("/jobs/new", data=FULL | {field: typed})
    assert answer.status_code == 422
    assert JobBook(store).listed()[1] == 0
    beside = answer.text.split(f'id="{field}-error">')[1].split("</p>")[0]
    assert said in beside
    assert answer.text.count('class="error"') == 1
    assert "1.6 litre petrol hatchback" in answer.text
    assert "since the gearbox was out" in answer.text
    if field != "wires":
        assert "2 brown</textarea>" in answer.text


def test_several_mistakes_are_said_at_once(app: FastAPI) -> None:
    typed = FULL | {"title": "", "vin": "x", **lines(("Q9", "stored", "speed 812"))}
    text = browser(app).post("/jobs/new", data=typed).text
    assert "3 fields need mending" in text
    assert 'id="code-1-error"' in text
    assert "speed 812" in text


def test_more_lines_for_codes_without_scripts(app: FastAPI, store: Store) -> None:
    typed = FULL | lines(("P0117", "stored", ""), ("P0118", "stored", "")) | {"do": "more codes"}
    answer = browser(app).post("/jobs/new", data=typed)
    assert answer.status_code == 200
    assert JobBook(store).listed()[1] == 0
    assert answer.text.count('name="code"') == 6
    assert 'value="P0118"' in answer.text


def test_a_wrong_check_digit_is_said_but_the_number_is_taken(app: FastAPI, store: Store) -> None:
    piece = browser(app).get("/fragments/vin", params={"vin": WRONG_VIN}).text
    assert "should be X" in piece
    assert browser(app).post("/jobs/new", data=FULL | {"vin": WRONG_VIN}).status_code == 303
    (line,), _ = JobBook(store).listed()
    assert "should be X" in browser(app).get(f"/jobs/{line.key}").text


def test_the_pieces_say_what_is_typed(app: FastAPI) -> None:
    here = browser(app)
    right = here.get("/fragments/vin", params={"vin": RIGHT_VIN}).text
    assert "Check digit right" in right
    assert "1989" in right  # position 10 is K: 49 CFR 565.15, table VII
    assert "isn&#39;t" in here.get("/fragments/code", params={"code": "ZZ"}).text
    assert "powertrain" in here.get("/fragments/code", params={"code": "p0117"}).text
    wires = here.get("/fragments/wires", params={"wires": "A yellow/black"}).text
    assert "wire-YE" in wires
    assert "YE/BK" in wires
    assert "<script" not in here.get("/fragments/code", params={"code": HOSTILE}).text
    assert here.get("/fragments/vin").text.strip() == ""


def test_the_head_is_changed_and_keeps_its_meter(app: FastAPI, store: Store) -> None:
    with store.write() as session:
        keep_meter(session, "bench", Meter(counts=6000))
        keep_meter(session, "<b>old</b>", Meter(counts=2000))
    browser(app).post("/jobs/new", data=FULL | {"meter": "bench"})
    (line,), _ = JobBook(store).listed()
    shown = browser(app).get(f"/jobs/{line.key}/edit").text
    assert "as in this job: bench" in shown
    assert "&lt;b&gt;old" in shown
    changed = FULL | {"title": "Another title", "meter": "=as it is"} | lines(("U0100", "", ""))
    answer = browser(app).post(f"/jobs/{line.key}/edit", data=changed | {"code_status": "stored"})
    assert (answer.status_code, answer.headers["location"]) == (303, f"/jobs/{line.key}")
    head = JobBook(store).job(line.key).head
    assert (head.title, head.meter.counts, head.meter_name) == ("Another title", 6000, "bench")
    assert [c.code for c in head.codes] == ["U0100"]
    assert "Changed: title, trouble codes." in browser(app).get(f"/jobs/{line.key}").text


def test_a_mistake_in_the_head_changes_nothing(app: FastAPI, store: Store) -> None:
    key, _ = example(store)
    before = JobBook(store).job(key).head
    answer = browser(app).post(f"/jobs/{key}/edit", data=FULL | {"title": ""})
    assert answer.status_code == 422
    assert f'action="/jobs/{key}/edit"' in answer.text
    assert JobBook(store).job(key).head == before


def test_a_job_is_closed_and_opened_again(app: FastAPI, store: Store) -> None:
    key, _ = example(store)
    assert browser(app).post(f"/jobs/{key}/close").headers["location"] == f"/jobs/{key}"
    shown = browser(app).get(f"/jobs/{key}").text
    assert "Reopen the job" in shown
    assert "Add a connector" not in shown
    assert "Closed." in shown
    refused = browser(app).post(f"/jobs/{key}/sheets/new", data=WIRED)
    assert refused.status_code == 409
    browser(app).post(f"/jobs/{key}/reopen")
    assert "Close the job" in browser(app).get(f"/jobs/{key}").text


def test_one_more_connector(app: FastAPI, store: Store) -> None:
    key, first = example(store)
    wrong = browser(app).post(f"/jobs/{key}/sheets/new", data=WIRED | {"wires": "1 ZZ\n2"})
    assert wrong.status_code == 422
    assert "1 ZZ\n2</textarea>" in wrong.text
    answer = browser(app).post(f"/jobs/{key}/sheets/new", data=WIRED)
    sheets = JobBook(store).job(key).sheets
    assert (sheets[0].key, len(sheets)) == (first, 2)
    assert answer.headers["location"] == f"/sheets/{sheets[1].key}"
    assert f"Witnesses: {sheets[1].connector.name}" in browser(app).get(f"/jobs/{key}").text


def test_the_history_says_entries_as_they_were_written(app: FastAPI, store: Store) -> None:
    key, _ = example(store)
    record = JobBook(store).job(key)
    each = record.sheets[0].rounds[0]
    entry = next(e for e in each.entries if e.quantity == "volts" and e.indication)
    assert entry.indication is not None
    book = JobBook(store)
    book.enter(each.key, ("volts", entry.place), "4.44 V")
    book.enter(each.key, ("volts", entry.place), None)
    shown = browser(app).get(f"/jobs/{key}").text
    named = f"Round {each.round.name}: volts at {entry.place}"
    assert f"{named}: {entry.indication.written}" in shown
    assert f"{named}: 4.44 V (corrected)" in shown
    assert f"{named} taken back." in shown


@pytest.mark.parametrize("path", ["/jobs/none", "/jobs/none/edit", "/jobs/none/sheets/new"])
def test_a_job_that_is_not_there(app: FastAPI, path: str) -> None:
    assert browser(app).get(path).status_code == 404
