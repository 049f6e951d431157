"""The picture of a capture under fingers, a mouse and a keyboard."""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import pytest
from playwright.sync_api import Page, expect

from backprobe.job import Connector, Round, Terminal
from backprobe.services.recording_book import RecordingBook
from backprobe.services.recording_intake import Placing, keep_file
from backprobe.store.record import JobHead
from scripts.demo_recordings import write_all
from tests.browser.conftest import Server

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def kept(server: Server, tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """Keys of two snaps, a long square wave with one glitch, and the job they belong to."""
    folder = tmp_path_factory.mktemp("recordings")
    files = {file.stem: file for file in write_all(folder)}
    wave = np.where(np.arange(3_000_000) % 100 < 40, 5.0, 0.2).astype(np.float32)
    wave[2_000_123] = 9.0
    np.savez(folder / "long.npz", signal=wave, time=np.arange(wave.size) * 1e-5)
    job = server.book.begin(JobHead(title="Hesitates"))
    wires = tuple(Terminal(pin) for pin in ("1", "2", "3"))
    sheet = server.book.add_sheet(job, Connector("air-mass sensor", "air-mass", wires))
    at = server.book.add_round(
        sheet, Round(name="A", plugged=True, key="run", rpm=800.0, action="snap throttle")
    )
    book = RecordingBook(server.book.store)
    placing = Placing("capture", round_key=at, places=("3",))
    keys = {
        name: keep_file(book, files[f"air-mass-snap-{name}"], job, placing)
        for name in ("sound", "fouled")
    }
    keys["long"] = keep_file(book, folder / "long.npz", job, Placing("capture"))
    return {**keys, "job": job, "sheet": sheet}


def drawn(page: Page) -> tuple[float, float]:
    """The stretch of time that is drawn."""
    expect(page.locator("#traces")).to_have_attribute("data-drawn", re.compile(r"\S+ \S+"))
    start, end = (page.locator("#traces").get_attribute("data-drawn") or "0 0").split(" ")
    return float(start), float(end)


def settle(page: Page, since: tuple[float, float] | None = None) -> tuple[float, float]:
    """Wait until the picture has followed the last move, away from the stretch it showed."""
    for _ in range(600):
        if drawn(page) != since:
            break
        page.wait_for_timeout(50)
    expect(page.locator("#traces")).to_have_attribute("aria-busy", "false", timeout=30_000)
    return drawn(page)


def test_on_a_phone_taps_set_cursors_and_fingers_move_the_picture(
    server: Server, phone: Page, kept: dict[str, str]
) -> None:
    phone.goto(f"{server.url}/recordings/{kept['sound']}")
    whole = settle(phone)
    assert whole == pytest.approx((0.0, 2.999), abs=0.01)
    box = phone.locator("#traces").bounding_box()
    assert box is not None
    assert box["width"] <= 360
    phone.touchscreen.tap(box["x"] + 0.4 * box["width"], box["y"] + 80)
    expect(phone.locator("#cursor-values tr").first).to_contain_text("s")
    phone.get_by_role("button", name="Cursor B").tap()
    phone.wait_for_timeout(450)  # two quick taps would mean the whole
    phone.touchscreen.tap(box["x"] + 0.7 * box["width"], box["y"] + 80)
    expect(phone.locator("#cursor-values tr").first).to_contain_text("Hz")
    phone.get_by_role("button", name="A to B").tap()
    part = settle(phone, whole)
    assert part[1] - part[0] < 0.5 * (whole[1] - whole[0])
    phone.get_by_role("button", name="Whole").tap()
    assert settle(phone, part) == pytest.approx(whole, abs=1e-6)


def test_two_fingers_narrow_the_picture(server: Server, phone: Page, kept: dict[str, str]) -> None:
    phone.goto(f"{server.url}/recordings/{kept['sound']}")
    whole = settle(phone)
    box = phone.locator("#traces").bounding_box()
    assert box is not None
    middle, y = box["x"] + box["width"] / 2, box["y"] + 80
    session = phone.context.new_cdp_session(phone)

    def touch(kind: str, apart: float) -> None:
        points = (
            []
            if kind == "touchEnd"
            else [
                {"x": middle - apart, "y": y, "id": 1},
                {"x": middle + apart, "y": y, "id": 2},
            ]
        )
        session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    touch("touchStart", 30)
    for apart in (45, 60, 75, 90, 100):
        touch("touchMove", apart)
    touch("touchEnd", 0)
    part = settle(phone, whole)
    assert part[1] - part[0] == pytest.approx((whole[1] - whole[0]) * 0.3, rel=0.15)


def test_on_a_desk_wheel_keys_and_marks(server: Server, desk: Page, kept: dict[str, str]) -> None:
    desk.goto(f"{server.url}/recordings/{kept['fouled']}")
    whole = settle(desk)
    box = desk.locator("#traces").bounding_box()
    assert box is not None
    desk.mouse.move(box["x"] + 0.5 * box["width"], box["y"] + 80)
    desk.mouse.wheel(0, -600)
    part = settle(desk, whole)
    assert part[1] - part[0] < 0.6 * (whole[1] - whole[0])
    desk.locator("#traces").press("Home")
    assert settle(desk, part) == pytest.approx(whole, abs=1e-6)
    desk.locator("#traces").press("ArrowRight")
    expect(desk.locator("#mark-from")).not_to_have_value("")
    desk.locator("#mark-text").fill("no dip after the peak")
    desk.get_by_role("button", name="Put the mark").click()
    expect(desk.locator(".marks")).to_contain_text("no dip after the peak")


def test_a_glitch_in_millions_of_samples_is_on_the_screen(
    server: Server, desk: Page, kept: dict[str, str]
) -> None:
    with desk.expect_response(lambda answer: "/drawing" in answer.url) as sent:
        desk.goto(f"{server.url}/recordings/{kept['long']}")
    told = json.loads(sent.value.text())
    assert max(told["channels"][0]["highest"]) == pytest.approx(9.0)
    whole = settle(desk)
    assert whole[1] == pytest.approx(30.0, abs=0.01)
    # What is found in so many samples comes after the picture.
    expect(desk.locator("#study")).to_contain_text("1 kHz", timeout=60_000)
    for _ in range(12):
        desk.locator("[data-do=closer]").click()
    part = settle(desk, whole)
    assert part[1] - part[0] < 0.01


def test_two_captures_are_laid_over_one_another(
    server: Server, desk: Page, kept: dict[str, str]
) -> None:
    desk.goto(f"{server.url}/recordings/{kept['fouled']}")
    desk.locator("#other").select_option(label="air-mass-snap-sound.csv")
    desk.locator("#align").select_option("steepest")
    with desk.expect_response(lambda answer: kept["sound"] in answer.url):
        desk.get_by_role("button", name="Lay over").click()
    settle(desk)
    expect(desk.locator(".trace-key li")).to_have_count(2)
    shift = desk.locator("#shift").input_value()
    desk.get_by_role("button", name="Other later").click()
    settle(desk)
    assert float(desk.locator("#shift").input_value()) > float(shift)


def test_a_file_is_sent_in_pieces_and_becomes_readings(
    server: Server, phone: Page, kept: dict[str, str], tmp_path: Path
) -> None:
    files = {file.stem: file for file in write_all(tmp_path)}
    phone.goto(f"{server.url}/jobs/{kept['job']}")
    phone.get_by_role("link", name="Add a capture or log").tap()
    phone.locator("#file").set_input_files(files["air-mass-snap-sound"])
    phone.get_by_role("button", name="Send and look at it").tap()
    phone.locator("#round").select_option(index=1)
    phone.locator("#place-0").fill("3")
    phone.get_by_role("button", name="Keep it").first.tap()
    expect(phone.locator("h1")).to_have_text("air-mass-snap-sound.csv")
    phone.get_by_role("button", name="Take them as readings").tap()
    expect(phone.locator("h2#readings")).to_be_visible()
    expect(phone.locator("#table")).to_contain_text("3.39 V")
