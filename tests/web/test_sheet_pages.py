"""The sheet's pages as they are without any script: forms in, pages out."""

from __future__ import annotations

from io import BytesIO

from fastapi import FastAPI
from fastapi.testclient import TestClient
from PIL import Image

from backprobe.services.answer_archive import StoredAnswer
from backprobe.services.answer_desk import derive
from backprobe.services.costs import DEFAULT_COSTS
from backprobe.services.explain import glance_in_words, posterior_of
from backprobe.services.job_book import JobBook
from backprobe.services.telling import NOTHING_WORTH
from backprobe.store.columns import now
from backprobe.web.known_view import TO_FOLLOW, KnownView, known_view


def first_round(book: JobBook, sheet: str) -> str:
    return book.sheet(sheet)[2].rounds[0].key


def test_the_sheet_is_shown_before_there_is_an_answer(client: TestClient, sheet: str) -> None:
    text = client.get(f"/sheets/{sheet}").text
    assert "Working out what can be said so far" in text
    assert "5.01 V" in text
    assert "5.00 V" in text


def test_what_is_known_stands_on_the_page_once_it_is_derived(
    app: FastAPI, client: TestClient, sheet: str
) -> None:
    derive(app.state.store, sheet)
    text = client.get(f"/sheets/{sheet}/known").text
    assert "Measure next" in text
    assert "Weight of evidence" in text
    assert "<svg" in text
    assert "Skip: can&#39;t reach it" in text or "Skip: can't reach it" in text


def test_a_glance_says_that_next_readings_are_still_to_come(book: JobBook, sheet: str) -> None:
    job = book.job_file(sheet)[0]

    def shown(parameters: dict[str, bool]) -> KnownView:
        found = glance_in_words(posterior_of(job))
        kept = StoredAnswer(found, "", parameters, {}, now(), 0.04, "")
        return known_view(
            job, kept, sheet=sheet, set_aside=(), costs=DEFAULT_COSTS, is_current=True
        )

    glance, closer = shown({"glance": True}), shown({"whole": False})
    assert (glance.settled, glance.decision) == (TO_FOLLOW, "")
    assert "at a glance" in glance.footer
    assert glance.wires == closer.wires
    assert closer.settled == NOTHING_WORTH
    assert "glance" not in closer.footer


def test_a_reading_is_entered_by_a_form(client: TestClient, book: JobBook, sheet: str) -> None:
    key = first_round(book, sheet)
    form = client.get(f"/rounds/{key}/entry?quantity=volts&place=3").text
    assert "Round A: volts at 3" in form
    seen = form.partition('name="seen" value="')[2].partition('"')[0]
    sent = {"quantity": "volts", "place": "3", "written": "0.5 mV", "seen": seen}
    answer = client.post(f"/rounds/{key}/entry", data=sent, follow_redirects=False)
    assert answer.status_code == 303
    assert answer.headers["location"] == f"/sheets/{sheet}"
    assert book.job_file(sheet)[0].rounds[0].volts["3"].written == "0.5 mV"


def test_what_cannot_be_read_is_told_beside_the_field_and_kept(
    client: TestClient, book: JobBook, sheet: str
) -> None:
    key = first_round(book, sheet)
    sent = {"quantity": "volts", "place": "3", "written": "<b>five"}
    answer = client.post(f"/rounds/{key}/entry", data=sent)
    assert answer.status_code == 422
    assert 'value="&lt;b&gt;five"' in answer.text
    assert "<b>five" not in answer.text
    assert book.job_file(sheet)[0].rounds[0].volts["3"].written == "6.0 mV"


def test_a_round_is_begun_changed_voided_and_counts_again(
    client: TestClient, book: JobBook, sheet: str
) -> None:
    form = client.get(f"/sheets/{sheet}/rounds/new?plugged=yes&key=run&rpm=780").text
    assert 'value="780"' in form
    state = {"plugged": "yes", "key": "run", "rpm": "780", "black_lead": "engine block"}
    client.post(f"/sheets/{sheet}/rounds", data=state)
    record = book.sheet(sheet)[2].rounds[-1]
    assert (record.round.key, record.round.rpm, record.round.black_lead) == (
        "run",
        780.0,
        "engine block",
    )
    client.post(f"/rounds/{record.key}", data=state | {"rpm": "2500", "note": "warm"})
    changed = book.sheet(sheet)[2].rounds[-1].round
    assert (changed.rpm, changed.note, changed.name) == (2500.0, "warm", record.round.name)
    refused = client.post(f"/rounds/{record.key}/void", data={"reason": " "})
    assert refused.status_code == 422
    assert "needs a reason" in refused.text
    client.post(f"/rounds/{record.key}/void", data={"reason": "leads exchanged"})
    assert book.sheet(sheet)[2].rounds[-1].round.void == "leads exchanged"
    assert "leads exchanged" in client.get(f"/sheets/{sheet}").text
    client.post(f"/rounds/{record.key}/count-again")
    assert book.sheet(sheet)[2].rounds[-1].round.void == ""


def test_a_state_that_cannot_be_is_refused_and_the_form_kept(
    client: TestClient, sheet: str
) -> None:
    answer = client.post(
        f"/sheets/{sheet}/rounds", data={"plugged": "yes", "key": "run", "rpm": "fast"}
    )
    assert answer.status_code == 422
    assert 'value="fast"' in answer.text


def test_a_proposed_reading_is_skipped_and_proposed_again(
    app: FastAPI, client: TestClient, book: JobBook, sheet: str
) -> None:
    first = derive(app.state.store, sheet).answer.next[0]
    page = client.get(f"/sheets/{sheet}/known").text
    state = page.partition('name="state" value="')[2].partition('"')[0]
    sent = {"quantity": first.quantity, "place": first.terminal, "state": state}
    client.post(f"/sheets/{sheet}/set-aside", data=sent)
    after = derive(app.state.store, sheet).answer.next
    assert (first.quantity, first.terminal, first.key, first.plugged) not in [
        (each.quantity, each.terminal, each.key, each.plugged) for each in after
    ]
    (aside,) = book.sheet(sheet)[2].set_aside
    client.post(f"/sheets/{sheet}/take-up-again", data={"number": str(aside.id)})
    assert derive(app.state.store, sheet).answer.next[0] == first


def test_undo_puts_back_what_stood_there(client: TestClient, book: JobBook, sheet: str) -> None:
    key = first_round(book, sheet)
    entered = book.enter(key, ("volts", "3"), "1 V")
    client.post(f"/rounds/{key}/undo", data={"entry": str(entered.entry)})
    assert book.job_file(sheet)[0].rounds[0].volts["3"].written == "6.0 mV"


def test_entries_that_differ_are_both_shown(client: TestClient, book: JobBook, sheet: str) -> None:
    key = first_round(book, sheet)
    book.enter(key, ("volts", "3"), "7 mV", device="first phone")
    book.enter(key, ("volts", "3"), "9 mV", seen=(), device="second phone")
    text = client.get(f"/sheets/{sheet}/table").text
    for part in ("Two entries differ", "7 mV", "9 mV", "first phone", "second phone"):
        assert part in text


def test_a_closed_job_shows_its_readings_and_takes_none(
    client: TestClient, book: JobBook, sheet: str
) -> None:
    key = first_round(book, sheet)
    book.close(book.sheet(sheet)[0])
    text = client.get(f"/sheets/{sheet}").text
    assert "The job is closed" in text
    assert "/entry?" not in text
    answer = client.post(
        f"/rounds/{key}/entry", data={"quantity": "volts", "place": "3", "written": "1 V"}
    )
    assert answer.status_code == 409
    assert "Reopen it" in answer.text


def test_a_report_is_offered_in_both_forms(app: FastAPI, client: TestClient, sheet: str) -> None:
    app.state.answers.whole = lambda key: derive(app.state.store, key)
    job = app.state.book.sheet(sheet)[0]
    pdf = client.get(f"/jobs/{job}/report.pdf?paper=letter")
    assert pdf.content.startswith(b"%PDF-1.7")
    assert pdf.headers["content-type"] == "application/pdf"
    page = client.get(f"/jobs/{job}/report.html")
    assert "Two wires at five volts" in page.text
    assert "sandbox" in page.headers["content-security-policy"]
    assert "script-src" not in page.headers["content-security-policy"]
    assert client.get(f"/jobs/{job}/report.pdf?paper=a5").status_code == 422


def test_a_picture_is_kept_with_its_round_and_sent_back_as_it_came(
    client: TestClient, book: JobBook, sheet: str
) -> None:
    job, key = book.sheet(sheet)[0], first_round(book, sheet)
    drawn = BytesIO()
    Image.new("RGB", (2, 2)).save(drawn, "PNG")
    png = drawn.getvalue()
    sent = client.post(
        f"/jobs/{job}/files",
        files={"file": ("../../evil.png", png, "text/html")},
        data={"caption": "pin 3", "round_key": key},
        follow_redirects=False,
    )
    assert sent.status_code == 303
    assert sent.headers["location"] == f"/jobs/{job}"
    (kept,) = book.job(job).attachments
    found = client.get(f"/files/{kept.key}")
    assert (found.content, found.headers["content-type"]) == (png, "image/png")
    assert found.headers["content-security-policy"].startswith("sandbox")
    refused = client.post(
        f"/jobs/{job}/files", files={"file": ("x.png", b"<svg onload=alert(1)>", "image/png")}
    )
    assert refused.status_code == 422


def test_a_picture_of_one_reading_is_marked_at_its_cell_and_stands_in_its_round(
    client: TestClient, book: JobBook, sheet: str
) -> None:
    job, key = book.sheet(sheet)[0], first_round(book, sheet)
    drawn = BytesIO()
    Image.new("RGB", (2, 2)).save(drawn, "PNG")
    at = {"quantity": "volts", "place": "3"}
    form = client.get(f"/rounds/{key}/entry", params=at).text
    assert 'name="quantity" value="volts"><input type="hidden" name="place" value="3"' in form
    assert "cell-photo" not in client.get(f"/sheets/{sheet}/table").text
    sent = client.post(
        f"/jobs/{job}/files",
        files={"file": ("meter.png", drawn.getvalue(), "image/png")},
        data={"caption": "display at terminal 3", "round_key": key, "back": "sheet", **at},
        follow_redirects=False,
    )
    assert sent.headers["location"] == f"/sheets/{sheet}"
    (kept,) = book.job(job).attachments
    table = client.get(f"/sheets/{sheet}/table").text
    cell = table[table.index('data-quantity="volts" data-place="3"') :]
    assert '<span class="cell-photo">photo</span>' in cell[: cell.index("</a>")]
    assert table.count("cell-photo") == 1
    for page in (f"/rounds/{key}", f"/rounds/{key}/entry?quantity=volts&place=3"):
        text = client.get(page).text
        assert f"/files/{kept.key}" in text
        assert "volts at 3" in text
        assert "display at terminal 3" in text
    assert (
        f"/files/{kept.key}" not in client.get(f"/rounds/{key}/entry?quantity=volts&place=1").text
    )
    wrong = client.post(
        f"/jobs/{job}/files",
        files={"file": ("meter.png", drawn.getvalue(), "image/png")},
        data={"round_key": key, "quantity": "volts", "place": "99"},
    )
    assert wrong.status_code == 422


def test_a_wire_is_added_and_one_with_readings_stays(
    client: TestClient, book: JobBook, sheet: str
) -> None:
    form = client.get(f"/sheets/{sheet}/connector").text
    pins = book.sheet(sheet)[2].connector.pins
    assert all(pin in form for pin in pins)
    lines = "\n".join(f"{t.pin} {t.colour}" for t in book.sheet(sheet)[2].connector.terminals)
    sent = {"connector": "renamed", "kind": "speed", "wires": f"{lines}\n9 RD/WH"}
    assert client.post(f"/sheets/{sheet}/connector", data=sent).status_code == 303
    changed = book.sheet(sheet)[2].connector
    assert (changed.name, changed.kind, changed.pins) == ("renamed", "speed", (*pins, "9"))
    assert changed.terminals[-1].colour == "RD/WH"
    fewer = sent | {"wires": "\n".join(lines.splitlines()[:2])}
    refused = client.post(f"/sheets/{sheet}/connector", data=fewer)
    assert refused.status_code == 422
    assert "has readings" in refused.text
