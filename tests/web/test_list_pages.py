"""The list of jobs, and job files taken in."""

from fastapi import FastAPI

from backprobe.job import Job, parse_job
from backprobe.services.job_book import JobBook
from backprobe.store.engine import Store
from backprobe.store.record import JobHead
from tests.web.browsers import browser
from tests.web.filled import EXAMPLES, example


def files(*named: tuple[str, bytes]) -> list[tuple[str, tuple[str, bytes, str]]]:
    """Files as a form sends them."""
    return [("files", (name, content, "text/plain")) for name, content in named]


def test_an_empty_book_says_so(app: FastAPI) -> None:
    assert "No job yet." in browser(app).get("/").text


def test_a_job_is_found_by_title_code_and_outcome(app: FastAPI, store: Store) -> None:
    key, _ = example(store, "half-a-sheet")
    other = JobBook(store).begin(JobHead("Quite another one"))
    JobBook(store).conclude(key, fault="open:sensor-ground", cause="chafed through")
    shown = browser(app).get("/", params={"q": "chafed"}).text
    assert f"/jobs/{key}" in shown
    assert f"/jobs/{other}" not in shown
    assert "sensor ground wire is broken" in shown  # in words, not as the store names it


def test_open_and_closed_jobs_are_told_apart(app: FastAPI, store: Store) -> None:
    book = JobBook(store)
    first, second = book.begin(JobHead("First")), book.begin(JobHead("Second"))
    book.close(second)
    is_open = browser(app).get("/", params={"state": "open"}).text
    closed = browser(app).get("/", params={"state": "closed"}).text
    assert (f"/jobs/{first}" in is_open, f"/jobs/{second}" in is_open) == (True, False)
    assert (f"/jobs/{first}" in closed, f"/jobs/{second}" in closed) == (False, True)
    assert ">closed</span>" in closed


def test_the_list_has_pages_that_keep_the_search(app: FastAPI, store: Store) -> None:
    for number in range(27):
        JobBook(store).begin(JobHead(f"Lamp & relay {number:02}"))
    first = browser(app).get("/", params={"q": "lamp &"}).text
    assert "Lamp &amp; relay 26" in first
    assert "Lamp &amp; relay 01" not in first
    assert 'href="/?q=lamp+%26&amp;page=2"' in first
    second = browser(app).get("/", params={"q": "lamp &", "page": "2"}).text
    assert "Lamp &amp; relay 01" in second
    assert "Page 2 of 2" in second


def test_one_job_file_leads_to_its_job(app: FastAPI, store: Store) -> None:
    content = (EXAMPLES / "half-a-sheet.toml").read_bytes()
    answer = browser(app).post("/jobs/import", files=files(("half.toml", content)))
    assert answer.status_code == 303
    (line,), count = JobBook(store).listed()
    assert count == 1
    assert answer.headers["location"] == f"/jobs/{line.key}"
    taken = JobBook(store).job(line.key)
    assert _rounds(taken.job_of(taken.sheets[0])) == _rounds(parse_job(content.decode(), ""))


def _rounds(job: Job) -> object:
    return [(each.name, each.volts, each.void) for each in job.rounds]


def test_a_bad_file_is_told_beside_its_name_and_the_others_are_taken(
    app: FastAPI, store: Store
) -> None:
    good = (EXAMPLES / "half-a-sheet.toml").read_bytes()
    answer = browser(app).post(
        "/jobs/import",
        files=files(
            ("good.toml", good),
            ("<b>bad</b>.toml", good + b'\nnonsense = "x"\n'),
            ("photo.jpg", b"\xff\xd8\xff\xe0"),
        ),
    )
    assert answer.status_code == 422
    assert JobBook(store).listed()[1] == 1
    assert "<strong>good.toml</strong>: taken in." in answer.text
    assert "&lt;b&gt;bad&lt;/b&gt;.toml" in answer.text
    assert "nonsense" in answer.text
    assert "This isn&#39;t a text file." in answer.text


def test_no_file_is_said(app: FastAPI) -> None:
    answer = browser(app).post("/jobs/import", data={"x": ""})
    assert answer.status_code == 422
    assert "Choose one or several job files first." in answer.text
