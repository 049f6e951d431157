"""The interface for programs from the first reading to the confirmed repair.

The desk that answers stays closed: what is asked of it is seen, and nothing is worked out.
"""

from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from httpx2 import Response

from backprobe.job import parse_job
from backprobe.services.answer_desk import AnswerDesk
from tests.web.browsers import HERE, browser

EXAMPLES = Path(__file__).parents[2] / "examples"
HOSTILE = [
    "<script>alert(1)</script>",
    "'; drop table job; --",
    "{{ 7 * 7 }} ${7*7} %s %00",
    "\u202eright to left\u202c, \u200bnothing, e\u0301, \U0001f50c",
    'two\nlines, a "quote", a \\ and a tab\t.',
    "#panic() $x$ [link](javascript:1)",
]


class Talk:
    """A program that speaks to the interface."""

    def __init__(self, app: FastAPI) -> None:
        self.browser: TestClient = browser(app)
        desk: AnswerDesk = app.state.answers
        self.desk = desk

    def ask(self, method: str, path: str, body: Any = None, status: int = 200) -> Any:
        """Send something and give back what came, where the status is the one expected."""
        found: Response = self.browser.request(method, f"/api{path}", json=body)
        assert found.status_code == status, found.text
        if status >= 400:
            assert set(found.json()) == {"what", "where", "remedy"}
            assert found.json()["what"].rstrip().endswith((".", "!"))
        return found.json() if found.content else None

    def post(self, path: str, body: Any = None, status: int = 201) -> Any:
        return self.ask("POST", path, body, status)

    def enter(self, key: str, place: str, written: str | None, **more: Any) -> Any:
        body = {"quantity": "volts", "place": place, "written": written, **more}
        return self.post(f"/rounds/{key}/entries", body, 200)

    def cells(self, sheet: str) -> list[tuple[str, str, bool]]:
        """What was entered into the first round: place, text, and whether it stands."""
        found = self.ask("GET", f"/sheets/{sheet}")["rounds"][0]["entries"]
        return [(each["place"], each["written"], each["stands"]) for each in found]


@pytest.fixture
def talk(app: FastAPI) -> Talk:
    return Talk(app)


@pytest.fixture
def begun(talk: Talk) -> tuple[str, str, str]:
    """Keys of a job, its sheet and a round."""
    connector = {"name": "throttle", "terminals": [{"pin": pin} for pin in "123"]}
    job = talk.post("/jobs", {"title": "Hesitates", "connector": connector})
    key = talk.post(f"/sheets/{job['sheet']}/rounds", {"plugged": False, "key": "on"})["key"]
    return job["key"], job["sheet"], key


Begun = tuple[str, str, str]


# ------------------------------------------------------------------ jobs
def test_a_job_is_begun_once_however_often_it_is_sent(talk: Talk) -> None:
    body = {
        "title": "Idles rough",
        "key": "phone-0001",
        "opened": "2026-03-02",
        "vehicle": {"description": "van", "cylinders": 4, "displacement_l": 2},
        "codes": [{"code": "P0113", "freeze_frame": {"coolant": "88 degC"}}],
    }
    body["connector"] = {"name": "air", "terminals": [{"pin": "1"}, {"pin": "2"}]}
    first, again = talk.post("/jobs", body), talk.post("/jobs", body)
    assert first == again
    assert first["key"] == "phone-0001"
    told = talk.ask("GET", "/jobs/phone-0001")
    assert told["sheets"] == [first["sheet"]]
    assert told["opened"] == "2026-03-02"
    assert told["codes"][0]["freeze_frame"] == {"coolant": "88 degC"}
    assert told["vehicle"]["displacement_l"] == 2.0
    assert talk.ask("GET", "/jobs")["count"] == 1
    assert talk.desk.is_awaited(first["sheet"])


def test_a_job_begun_without_its_connector_gets_it_when_sent_again(talk: Talk) -> None:
    """As after a crash between the two."""
    assert talk.post("/jobs", {"title": "x", "key": "phone-0002"})["sheet"] is None
    connector = {"name": "c", "terminals": [{"pin": "1"}, {"pin": "2"}]}
    body = {"title": "x", "key": "phone-0002", "connector": connector}
    sheet = talk.post("/jobs", body)["sheet"]
    assert talk.ask("GET", "/jobs/phone-0002")["sheets"] == [sheet]


def test_the_head_is_written_anew(talk: Talk, begun: Begun) -> None:
    job, _, _ = begun
    told = talk.ask("PUT", f"/jobs/{job}", {"title": "Stalls", "technician": "M."})
    assert (told["title"], told["technician"]) == ("Stalls", "M.")
    assert talk.ask("GET", f"/jobs/{job}") == told


def test_jobs_are_listed_searched_and_paged(talk: Talk) -> None:
    keys = [
        talk.post("/jobs", {"title": f"job {word}"})["key"] for word in ("idles", "stalls", "hunts")
    ]
    talk.post(f"/jobs/{keys[0]}/close", status=200)
    assert [each["key"] for each in talk.ask("GET", "/jobs?state=open")["jobs"]] == keys[:0:-1]
    assert [each["key"] for each in talk.ask("GET", "/jobs?state=closed")["jobs"]] == keys[:1]
    paged = talk.ask("GET", "/jobs?limit=1&offset=1")
    assert (len(paged["jobs"]), paged["count"]) == (1, 3)
    assert talk.ask("GET", "/jobs?q=JOB%20Stalls")["jobs"][0]["key"] == keys[1]
    assert talk.ask("GET", "/jobs?q=%25")["count"] == 0


def test_a_closed_job_takes_nothing_until_it_is_reopened(talk: Talk, begun: Begun) -> None:
    job, sheet, key = begun
    talk.enter(key, "1", "5.01", entry_key="before-close")
    assert talk.post(f"/jobs/{job}/close", status=200)["closed_at"] is not None
    entry = {"quantity": "volts", "place": "2", "written": "0.01"}
    refused = talk.post(f"/rounds/{key}/entries", entry, 409)
    assert refused["remedy"] == "Reopen it, then enter this again."
    # What was stored before is acknowledged again, or an outbox would never be empty.
    assert not talk.enter(key, "1", "5.01", entry_key="before-close")["is_new"]
    connector = {"name": "c", "terminals": [{"pin": "1"}, {"pin": "2"}]}
    body = {"plugged": True, "key": "on"}
    talk.post(f"/jobs/{job}/sheets", connector, 409)
    talk.post(f"/sheets/{sheet}/rounds", body, 409)
    talk.post(f"/sheets/{sheet}/set-aside", {"quantity": "volts"}, 409)
    talk.post(f"/sheets/{sheet}/repeat", status=409)
    talk.post(f"/rounds/{key}/void", {"reason": "x"}, 409)
    talk.post(f"/jobs/{job}/outcome", {"fault": "open"}, 409)
    talk.ask("PUT", f"/jobs/{job}", {"title": "x"}, 409)
    assert talk.post(f"/jobs/{job}/reopen", status=200)["closed_at"] is None
    assert talk.enter(key, "2", "0.01")["is_new"]
    assert [place for place, *_ in talk.cells(sheet)] == ["1", "2"]


def test_an_outcome_is_kept_and_found(talk: Talk, begun: Begun) -> None:
    job, _, _ = begun
    body = {
        "fault": "open",
        "terminals": ["2"],
        "cause": "chafed",
        "repair": "spliced",
        "not_tested": "",
        "proof": ["reads 5.0 V again"],
    }
    assert talk.post(f"/jobs/{job}/outcome", body, 200)["outcome"] == body
    assert talk.ask("GET", "/jobs?q=chafed")["jobs"][0]["outcome"] == "open"
    talk.post(f"/jobs/{job}/outcome", {"fault": " "}, 422)


# ------------------------------------------------------------------ readings
def test_a_reading_is_stored_once_however_often_it_is_sent(talk: Talk, begun: Begun) -> None:
    _, sheet, key = begun
    first = talk.enter(key, "1", "12 mV", entry_key="phone-1-0001")
    again = talk.enter(key, "1", "12 mV", entry_key="phone-1-0001")
    assert first["value"] == pytest.approx(0.012)
    assert (first["is_new"], again["is_new"]) == (True, False)
    assert first["entry"] == again["entry"]
    assert talk.cells(sheet) == [("1", "12 mV", True)]


def test_a_later_reading_replaces_what_stands(talk: Talk, begun: Begun) -> None:
    _, sheet, key = begun
    first = talk.enter(key, "1", "5.01")["entry"]
    second = talk.enter(key, "1", "4.98")["entry"]
    assert talk.cells(sheet) == [("1", "5.01", False), ("1", "4.98", True)]
    round_told = talk.ask("GET", f"/sheets/{sheet}")["rounds"][0]
    assert round_told["entries"][1]["replaces"] == [first]
    assert round_told["conflicts"] == []
    assert second > first


def test_readings_that_did_not_see_each_other_stand_side_by_side(talk: Talk, begun: Begun) -> None:
    _, sheet, key = begun
    one = talk.enter(key, "1", "5.01", seen=[])["entry"]
    two = talk.enter(key, "1", "0.02", seen=[])["entry"]
    conflicts = talk.ask("GET", f"/sheets/{sheet}")["rounds"][0]["conflicts"]
    assert conflicts == [[one, two]]
    # In a job file a cell that contradicts itself says nothing.
    text = talk.browser.get(f"/api/sheets/{sheet}/job-file").text
    assert parse_job(text, "exported").rounds[0].volts == {}
    talk.enter(key, "1", "5.01", seen=[one, two])
    assert talk.ask("GET", f"/sheets/{sheet}")["rounds"][0]["conflicts"] == []


def test_nobody_replaces_another_cells_reading(talk: Talk, begun: Begun) -> None:
    _, sheet, key = begun
    other = talk.enter(key, "2", "0.01")["entry"]
    talk.enter(key, "1", "5.01", seen=[other])
    assert [stands for *_, stands in talk.cells(sheet)] == [True, True]


def test_a_reading_is_taken_back_and_put_back(talk: Talk, begun: Begun) -> None:
    _, sheet, key = begun
    talk.enter(key, "1", "5.01")
    gone = talk.enter(key, "1", None)
    assert (gone["value"], gone["written"]) == (None, "")
    told = talk.ask("GET", f"/sheets/{sheet}")["rounds"][0]["entries"][-1]
    assert told["taken_back"]
    body = {"entry": gone["entry"], "entry_key": "undo-0001"}
    back = talk.post(f"/rounds/{key}/undo", body, 200)
    assert back["written"] == "5.01"
    assert not talk.post(f"/rounds/{key}/undo", body, 200)["is_new"]
    assert [stands for *_, stands in talk.cells(sheet)] == [False, False, True]
    talk.post(f"/rounds/{key}/undo", {"entry": 10**9}, 422)


def test_over_range_has_no_number(talk: Talk, begun: Begun) -> None:
    _, sheet, key = begun
    body = {"quantity": "sensor_ohms", "place": "2-1", "written": "OL"}
    found = talk.post(f"/rounds/{key}/entries", body, 200)
    assert (found["value"], found["over_range"], found["written"]) == (None, True, "OL")
    told = talk.ask("GET", f"/sheets/{sheet}")["rounds"][0]["entries"][0]
    assert (told["place"], told["value"], told["over_range"]) == ("1-2", None, True)


@pytest.mark.parametrize(
    ("quantity", "place", "written"),
    [
        ("volts", "1", "five"),
        ("volts", "1", ""),
        ("volts", "1", "5 ohm"),
        ("volts", "9", "5"),
        ("volts", "", "5"),
        ("battery_volts", "1", "12.6"),
        ("sensor_ohms", "1-1", "5"),
        ("scan", "no such value", "5"),
        ("no such quantity", "1", "5"),
        ("volts", "1", "1e999"),
        ("volts", "1", "nan"),
        ("volts", "1", "5\x00"),
    ],
)
def test_what_is_no_reading_is_told_and_not_stored(
    talk: Talk, begun: Begun, quantity: str, place: str, written: str
) -> None:
    _, sheet, key = begun
    body = {"quantity": quantity, "place": place, "written": written}
    assert talk.post(f"/rounds/{key}/entries", body, 422)["remedy"]
    assert talk.cells(sheet) == []


# ------------------------------------------------------------------ rounds and sheets
def test_a_round_is_begun_once_and_named_by_itself(talk: Talk, begun: Begun) -> None:
    _, sheet, _ = begun
    body = {"plugged": True, "key": "run", "rpm": 800, "round_key": "round-0001"}
    assert {talk.post(f"/sheets/{sheet}/rounds", body)["key"] for _ in range(3)} == {"round-0001"}
    rounds = talk.ask("GET", f"/sheets/{sheet}")["rounds"]
    assert [each["name"] for each in rounds] == ["A", "B"]
    talk.ask("PUT", "/rounds/round-0001", {"name": "warm", "plugged": True, "key": "on"}, 204)
    assert talk.ask("GET", f"/sheets/{sheet}")["rounds"][1]["name"] == "warm"
    body = {"name": "A", "plugged": True, "key": "on"}
    assert "already" in talk.ask("PUT", "/rounds/round-0001", body, 409)["what"]


def test_a_void_round_stays_visible_and_can_count_again(talk: Talk, begun: Begun) -> None:
    _, sheet, key = begun
    talk.enter(key, "1", "5.01")
    talk.post(f"/rounds/{key}/void", {"reason": " "}, 422)
    talk.post(f"/rounds/{key}/void", {"reason": "lead on paint"}, 204)
    told = talk.ask("GET", f"/sheets/{sheet}")["rounds"][0]
    assert told["void"] == "lead on paint"
    assert talk.cells(sheet) == [("1", "5.01", True)]
    entry = {"quantity": "volts", "place": "2", "written": "0.01"}
    talk.post(f"/rounds/{key}/entries", entry, 409)
    talk.post(f"/rounds/{key}/count-again", status=204)
    assert talk.ask("GET", f"/sheets/{sheet}")["rounds"][0]["void"] == ""
    assert talk.enter(key, "2", "0.01")["is_new"]


def test_a_reading_is_set_aside_and_taken_up_again(talk: Talk, begun: Begun) -> None:
    _, sheet, _ = begun
    body = {"quantity": "volts", "place": "3", "state": "", "reason": "can't reach it"}
    number = talk.post(f"/sheets/{sheet}/set-aside", body)["number"]
    there = talk.ask("GET", f"/sheets/{sheet}")["set_aside"]
    assert there == [{"number": number, "quantity": "volts", "place": "3", "state": ""}]
    for _ in range(2):
        talk.ask("DELETE", f"/sheets/{sheet}/set-aside/{number}", status=204)
        assert talk.ask("GET", f"/sheets/{sheet}")["set_aside"] == []


def test_a_connector_keeps_the_terminals_that_have_readings(talk: Talk, begun: Begun) -> None:
    _, sheet, key = begun
    talk.enter(key, "1", "5.01")
    body = {"name": "pedal", "terminals": [{"pin": "1", "colour": "rd"}, {"pin": "4"}]}
    told = talk.ask("PUT", f"/sheets/{sheet}/connector", body)
    assert (told["name"], [each["pin"] for each in told["terminals"]]) == ("pedal", ["1", "4"])
    body = {"name": "pedal", "terminals": [{"pin": "2"}, {"pin": "4"}]}
    assert talk.ask("PUT", f"/sheets/{sheet}/connector", body, 409)["what"].startswith("Terminal 1")


def test_a_second_connector_is_begun_once(talk: Talk, begun: Begun) -> None:
    job, sheet, _ = begun
    body = {"name": "cam", "terminals": [{"pin": "1"}, {"pin": "2"}], "key": "sheet-0001"}
    assert {talk.post(f"/jobs/{job}/sheets", body)["key"] for _ in range(2)} == {"sheet-0001"}
    assert talk.ask("GET", f"/jobs/{job}")["sheets"] == [sheet, "sheet-0001"]


def test_a_sheet_is_repeated_after_the_repair_with_the_states_that_were_read(
    talk: Talk, begun: Begun
) -> None:
    _, sheet, key = begun
    talk.enter(key, "1", "5.01")
    talk.post(f"/sheets/{sheet}/rounds", {"plugged": True, "key": "on"})  # nothing read in it
    again = talk.post(f"/sheets/{sheet}/repeat")["key"]
    assert talk.post(f"/sheets/{sheet}/repeat")["key"] == again
    told = talk.ask("GET", f"/sheets/{again}")
    assert (told["phase"], told["repeats"]) == ("repaired", sheet)
    assert [(each["repeats"], each["entries"]) for each in told["rounds"]] == [(key, [])]
    talk.post(f"/sheets/{again}/repeat", status=409)


# ------------------------------------------------------------------ job files and answers
@pytest.mark.parametrize("path", sorted(EXAMPLES.glob("*.toml")), ids=lambda path: path.stem)
def test_a_job_file_goes_in_and_comes_out(talk: Talk, path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    found = talk.browser.post(
        "/api/jobs/import", content=text.encode(), headers={"Content-Type": "text/plain"}
    )
    assert found.status_code == 201
    out = talk.browser.get(f"/api/sheets/{found.json()['sheet']}/job-file")
    assert out.headers["content-type"].startswith("text/plain")
    assert parse_job(out.text, "out") == parse_job(text, "in")


@pytest.mark.parametrize("text", [b"", b"format = 1\n", b"[[[", b"\x00", b"\xff\xfe"])
def test_what_is_no_job_file_is_told_and_not_taken_in(talk: Talk, text: bytes) -> None:
    found = talk.browser.post(
        "/api/jobs/import", content=text, headers={"Content-Type": "text/plain"}
    )
    assert found.status_code == 422
    assert set(found.json()) == {"what", "where", "remedy"}
    assert talk.ask("GET", "/jobs")["count"] == 0


def test_before_the_first_answer_it_is_awaited(talk: Talk, begun: Begun) -> None:
    _, sheet, _ = begun
    told = talk.ask("GET", f"/sheets/{sheet}/answer")
    assert told["answer"] is None
    assert (told["is_current"], told["is_awaited"]) == (False, True)


# ------------------------------------------------------------------ what is refused
@pytest.mark.parametrize(
    "changed",
    [
        {"rpm": True},
        {"rpm": "800"},
        {"plugged": 1},
        {"plugged": "yes"},
        {"key": 3},
        {"load_ohms": False},
        {"rpms": 800},
        {"note": ["x"]},
        {"name": "x" * 101},
        {"fitted": [{"start": "1", "end": "2", "ohms": True}]},
        {"round_key": "short"},
        {"round_key": "with a blank"},
    ],
)
def test_nothing_is_turned_into_something_else(
    talk: Talk, begun: Begun, changed: dict[str, Any]
) -> None:
    _, sheet, _ = begun
    body = {"plugged": True, "key": "on"} | changed
    told = talk.post(f"/sheets/{sheet}/rounds", body, 422)
    assert next(iter(changed)) in told["where"]


@pytest.mark.parametrize("number", ["NaN", "Infinity", "-Infinity", "1e999"])
def test_a_number_is_finite(talk: Talk, begun: Begun, number: str) -> None:
    _, sheet, _ = begun
    text = f'{{"plugged": true, "key": "on", "rpm": {number}}}'
    found = talk.browser.post(
        f"/api/sheets/{sheet}/rounds", content=text, headers={"Content-Type": "application/json"}
    )
    assert found.status_code == 422
    assert set(found.json()) == {"what", "where", "remedy"}


@pytest.mark.parametrize(
    ("method", "path", "body"),
    [
        ("GET", "/jobs/nobody", None),
        ("PUT", "/jobs/nobody", {"title": "x"}),
        ("POST", "/jobs/nobody/close", None),
        ("POST", "/jobs/nobody/reopen", None),
        ("POST", "/jobs/nobody/outcome", {"fault": "open"}),
        ("POST", "/jobs/nobody/sheets", {"name": "c", "terminals": [{"pin": "1"}, {"pin": "2"}]}),
        ("GET", "/sheets/nobody", None),
        ("GET", "/sheets/nobody/answer", None),
        ("GET", "/sheets/nobody/job-file", None),
        ("POST", "/sheets/nobody/repeat", None),
        ("POST", "/sheets/nobody/rounds", {"plugged": True, "key": "on"}),
        ("DELETE", "/sheets/nobody/set-aside/1", None),
        ("POST", "/rounds/nobody/entries", {"quantity": "volts", "place": "1", "written": "1"}),
        ("POST", "/rounds/nobody/undo", {"entry": 1}),
        ("POST", "/rounds/nobody/count-again", None),
    ],
)
def test_what_is_not_there_is_told(talk: Talk, method: str, path: str, body: Any) -> None:
    assert talk.ask(method, path, body, 404)["remedy"]


def test_a_change_from_elsewhere_is_refused(app: FastAPI) -> None:
    other = TestClient(app, base_url=HERE, client=("127.0.0.1", 50_000))
    assert other.post("/api/jobs", json={"title": "x"}).status_code == 403
    programs = {"X-Backprobe": "1"}
    assert other.post("/api/jobs", json={"title": "x"}, headers=programs).status_code == 201


@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_texts_come_back_as_they_were(talk: Talk, text: str) -> None:
    body = {
        "title": text,
        "complaint": text,
        "vehicle": {"description": text},
        "codes": [{"code": "P0113", "freeze_frame": {"note": text}}],
        "connector": {"name": "c", "terminals": [{"pin": "1"}, {"pin": "2"}]},
    }
    job = talk.post("/jobs", body)
    told = talk.ask("GET", f"/jobs/{job['key']}")
    assert (told["title"], told["complaint"]) == (text, text)
    assert told["vehicle"]["description"] == text
    assert told["codes"][0]["freeze_frame"] == {"note": text}
    assert talk.ask("GET", "/jobs")["jobs"][0]["title"] == text
    note = {"plugged": True, "key": "on", "note": text}
    key = talk.post(f"/sheets/{job['sheet']}/rounds", note)["key"]
    assert talk.ask("GET", f"/sheets/{job['sheet']}")["rounds"][0]["note"] == text
    talk.post(f"/rounds/{key}/void", {"reason": text}, 204)
    assert talk.ask("GET", f"/sheets/{job['sheet']}")["rounds"][0]["void"] == text
    out = talk.browser.get(f"/api/sheets/{job['sheet']}/job-file").text
    assert parse_job(out, "out").complaint == text


@pytest.mark.parametrize("text", ["\\ud800", "a\\u0000b"])
@pytest.mark.parametrize("name", ["title", "complaint", "technician"])
def test_what_no_text_can_hold_is_refused(talk: Talk, name: str, text: str) -> None:
    """Half of a surrogate pair, and the character that ends a string in PostgreSQL."""
    content = f'{{"title": "x", "{name}": "{text}"}}'
    json = {"Content-Type": "application/json"}
    found = talk.browser.post("/api/jobs", content=content, headers=json)
    assert found.status_code == 422
    assert set(found.json()) == {"what", "where", "remedy"}
