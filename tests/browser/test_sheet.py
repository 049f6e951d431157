"""The sheet on a phone and on a laptop: entering, a lost connection, two devices, the keyboard."""

from __future__ import annotations

from pathlib import Path

import pytest
from PIL import Image
from playwright.sync_api import Browser, Page, Route, expect

from backprobe.services.attachments import read_attachment
from tests.browser.at_the_sheet import cell, close_pad, enter, type_reading, wait_for_answer
from tests.browser.conftest import DESK, PHONE, Server

pytestmark = pytest.mark.slow


def test_a_reading_is_typed_shown_in_millivolts_too_and_corrected(
    server: Server, phone: Page
) -> None:
    phone.goto(f"{server.url}/sheets/{server.take_in('half-a-sheet')}")
    wait_for_answer(phone)
    at = cell(phone, "A", "volts", "3")
    enter(phone, at, "0.02")
    expect(at.locator(".cell-text")).to_have_text("0.02 V")
    expect(at.locator(".cell-small")).to_have_text("20 mV")
    expect(at.locator("s")).to_have_text("6.0 mV")  # what stood there stays to be seen
    phone.get_by_role("button", name="Undo the last entry").tap()
    expect(at.locator(".cell-text")).to_have_text("6.0 mV")


def test_after_entering_the_pad_goes_on_to_the_next_empty_cell(server: Server, phone: Page) -> None:
    sheet = server.take_in("half-a-sheet")
    key = server.book.sheet(sheet)[2].rounds[0].key
    for place in ("1", "2", "3"):
        server.book.enter(key, ("volts", place), None)
    phone.goto(f"{server.url}/sheets/{sheet}")
    cell(phone, "A", "volts", "1").tap()
    type_reading(phone, "5.00")
    expect(phone.locator("#pad-title")).to_have_text("Round A: volts at 2")
    type_reading(phone, "4.99")
    type_reading(phone, "6", "mV")
    expect(phone.locator("#pad")).to_be_hidden()
    expect(cell(phone, "A", "volts", "3").locator(".cell-text")).to_have_text("6 mV")


def test_what_cannot_be_is_refused_beside_the_cell_and_not_lost(
    server: Server, phone: Page
) -> None:
    phone.goto(f"{server.url}/sheets/{server.take_in('half-a-sheet')}")
    enter(phone, cell(phone, "A", "volts", "3"), "98765")
    refused = phone.locator("#outbox")
    expect(refused).to_contain_text('"98765 V" was refused')
    phone.reload()
    expect(refused).to_contain_text('"98765 V" was refused')
    refused.get_by_role("button").tap()
    expect(refused).to_be_hidden()
    expect(cell(phone, "A", "volts", "3").locator(".cell-text")).to_have_text("6.0 mV")


def test_readings_of_a_lost_connection_survive_a_reload_and_arrive_once(
    server: Server, phone: Page
) -> None:
    sheet = server.take_in("half-a-sheet")
    phone.goto(f"{server.url}/sheets/{sheet}")
    wait_for_answer(phone)
    phone.evaluate("navigator.serviceWorker.ready.then(() => undefined)")
    phone.reload()  # now through the script that keeps it at hand
    wait_for_answer(phone)
    phone.context.set_offline(True)
    enter(phone, cell(phone, "A", "volts", "3"), "12", "mV")
    expect(phone.locator("#outbox")).to_contain_text("1 reading waits on this device")
    phone.reload()
    at = cell(phone, "A", "volts", "3")
    expect(at.locator(".cell-text")).to_have_text("12 mV")
    enter(phone, cell(phone, "A", "volts", "1"), "5.02")
    expect(phone.locator("#outbox")).to_contain_text("2 readings wait")
    phone.context.set_offline(False)
    expect(phone.locator("#outbox")).to_be_hidden()
    expect(at.locator(".cell-wait")).to_have_count(0)
    record = server.book.sheet(sheet)[2].rounds[0]
    assert [e.indication.written for e in record.cell("volts", "3") if e.indication] == [
        "6.0 mV",
        "12 mV",
    ]
    assert [e.indication.written for e in record.cell("volts", "1") if e.indication][1:] == [
        "5.02 V"
    ]


def test_a_photo_of_a_lost_connection_survives_a_reload_and_arrives_once(
    server: Server, phone: Page, tmp_path: Path
) -> None:
    sheet = server.take_in("half-a-sheet")
    job, round_key = server.book.sheet(sheet)[0], server.book.sheet(sheet)[2].rounds[0].key
    shot = tmp_path / "display.jpg"
    Image.effect_noise((640, 480), 60).save(shot, "JPEG")
    phone.goto(f"{server.url}/sheets/{sheet}")
    phone.evaluate("navigator.serviceWorker.ready.then(() => undefined)")
    phone.reload()  # now through the script that keeps it at hand
    expect(phone.locator("#known")).not_to_be_empty()
    phone.context.set_offline(True)
    cell(phone, "A", "volts", "3").tap()
    phone.locator("#pad-photo").set_input_files(shot)
    expect(phone.locator("#pad-note")).to_have_text("✓ kept, goes out")
    type_reading(phone, "12", "mV")
    expect(phone.locator("#pad")).to_be_hidden()
    outbox = phone.locator("#outbox")
    expect(outbox).to_contain_text("1 reading and 1 photo wait on this device")
    phone.reload()
    at = cell(phone, "A", "volts", "3")
    expect(at.locator(".cell-wait")).to_have_text(["photo waiting", "waiting"])
    assert server.book.job(job).attachments == ()
    # The first answer gets lost on its way back: the same photo is sent again under the same key.
    sent: list[str] = []

    def lose_the_first(route: Route) -> None:
        sent.append(route.request.url)
        answer = route.fetch()
        if len(sent) == 1:
            assert answer.ok
            route.abort("internetdisconnected")
        else:
            route.fulfill(response=answer)

    phone.context.route("**/api/rounds/*/files/**", lose_the_first)
    phone.context.set_offline(False)
    expect(outbox).to_be_hidden()
    expect(at.locator(".cell-wait")).to_have_count(0)
    expect(at.locator(".cell-photo")).to_have_text("photo")
    expect(at.locator(".cell-text")).to_have_text("12 mV")
    assert len(sent) == 2
    assert sent[0] == sent[1]
    (kept,) = server.book.job(job).attachments
    assert (kept.round_key, kept.quantity, kept.place) == (round_key, "volts", "3")
    assert read_attachment(server.book.store, kept.key)[1] == shot.read_bytes()


def test_a_photo_that_is_none_is_refused_at_its_cell(
    server: Server, phone: Page, tmp_path: Path
) -> None:
    sheet = server.take_in("half-a-sheet")
    broken = tmp_path / "broken.jpg"
    broken.write_bytes(b"\xff\xd8\xff stops here")
    phone.goto(f"{server.url}/sheets/{sheet}")
    cell(phone, "A", "volts", "1").tap()
    phone.locator("#pad-photo").set_input_files(broken)
    close_pad(phone)
    expect(phone.locator("#outbox")).to_contain_text(
        'Round A: volts at 1, "photo" was refused: The picture is damaged or not whole.'
    )
    phone.locator("#outbox").get_by_role("button").tap()
    expect(phone.locator("#outbox")).to_be_hidden()


def test_two_devices_see_each_other_and_a_conflict_is_kept_and_decided(
    server: Server, browser: Browser, phone: Page
) -> None:
    sheet = server.take_in("half-a-sheet")
    other = browser.new_context(viewport=PHONE, has_touch=True, is_mobile=True)  # type: ignore[arg-type]  # a TypedDict of the library
    second = other.new_page()
    for page in (phone, second):
        page.goto(f"{server.url}/sheets/{sheet}")
        wait_for_answer(page)
    enter(phone, cell(phone, "A", "volts", "3"), "7", "mV")
    expect(cell(second, "A", "volts", "3").locator(".cell-text")).to_have_text("7 mV")
    # Both write into one cell, the second without having seen what the first wrote.
    other.set_offline(True)
    enter(second, cell(second, "A", "volts", "1"), "4.90")
    enter(phone, cell(phone, "A", "volts", "1"), "5.10")
    expect(cell(phone, "A", "volts", "1").locator(".cell-text")).to_have_text("5.10 V")
    other.set_offline(False)
    beside = phone.locator(".cell-beside")
    expect(beside).to_contain_text("5.10 V")
    expect(beside).to_contain_text("4.90 V")
    enter(phone, cell(phone, "A", "volts", "1"), "5.10")
    expect(beside).to_have_count(0)
    expect(second.locator(".cell-beside")).to_have_count(0)
    other.close()
    shown = server.book.job_file(sheet)[0].rounds[0].volts["1"]
    assert shown.value == 5.10


def test_all_of_it_with_the_keyboard_alone(server: Server, desk: Page) -> None:
    desk.goto(f"{server.url}/sheets/{server.take_in('half-a-sheet')}")
    wait_for_answer(desk)
    at = cell(desk, "A", "volts", "3")
    for _ in range(60):
        desk.keyboard.press("Tab")
        if at.evaluate("link => link === document.activeElement"):
            break
    desk.keyboard.press("Enter")
    desk.keyboard.type("0.013")
    desk.keyboard.press("Enter")
    close = desk.locator("#pad")
    if close.evaluate("pad => pad.open"):
        desk.keyboard.press("Escape")
    expect(at.locator(".cell-text")).to_have_text("0.013 V")


def test_a_round_is_voided_with_a_reason_and_stays_to_be_seen(server: Server, phone: Page) -> None:
    phone.goto(f"{server.url}/sheets/{server.take_in('painted-bracket')}")
    wait_for_answer(phone)
    expect(phone.locator("#known .known-alarm")).to_contain_text("The measurement is doubtful")
    phone.locator("a.round-name").first.tap()
    phone.locator("input[name=reason]").fill("black lead was on a painted bracket")
    phone.get_by_role("button", name="Void the round").tap()
    expect(phone.locator(".round-void").first).to_contain_text("painted bracket")
    wait_for_answer(phone)
    expect(phone.locator("#known")).not_to_contain_text("The measurement is doubtful")


def test_nothing_sticks_out_of_a_narrow_screen(server: Server, browser: Browser) -> None:
    sheet = server.take_in("healthy-air-mass")
    for viewport in (PHONE, DESK):
        context = browser.new_context(viewport=viewport)  # type: ignore[arg-type]  # as above
        page = context.new_page()
        page.goto(f"{server.url}/sheets/{sheet}")
        wait_for_answer(page)
        width = page.evaluate("document.documentElement.scrollWidth")
        assert width <= viewport["width"]
        close_pad(page)
        context.close()


def test_the_browser_is_given_no_script_of_another_place() -> None:
    """What is shipped names no other address to load from (W3C, CSP 3: 'self' only)."""
    static = Path(__file__).parents[2] / "src" / "backprobe" / "web" / "static" / "js"
    for file in static.glob("*.js"):
        assert "http" + "://" not in file.read_text(encoding="utf-8")
        assert "https" + "://" not in file.read_text(encoding="utf-8")
