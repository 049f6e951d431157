"""Every page, at both widths and in both themes: a picture, no sideways scroll, no axe finding.

axe-core checks rules of WCAG 2.2 (W3C, 2023); findings it calls serious or critical fail the test.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

from backprobe.job import read_job
from backprobe.services import incoming
from backprobe.services.recording_book import RecordingBook
from backprobe.services.recording_intake import Placing, keep_file
from scripts.demo_recordings import write_all
from tests.browser.at_the_sheet import FIRST_ANSWER
from tests.browser.conftest import DESK, PHONE, ROOT, SHOTS, Server

pytestmark = pytest.mark.slow

AXE = Path(__file__).parent / "vendor" / "axe.min.js"
AIR = (
    "/air?displacement=2.0&speed-1=780&pressure-1=34&temperature-1=32&flow-1=2.4&trim-1=20"
    "&speed-2=2500&pressure-2=31&temperature-2=30&flow-2=7.4&still-manifold=99&height=200&do=check"
)
GRAVE = ("serious", "critical")


@pytest.fixture(scope="module")
def pages(server: Server) -> dict[str, str]:
    """Name and address of every page, on a job that has something on each."""
    job, sheet = server.book.take_in(read_job(ROOT / "examples" / "painted-bracket.toml"))
    round_key = server.book.sheet(sheet)[2].rounds[0].key
    recordings = RecordingBook(server.book.store)
    pedal = SHOTS.parent / "recordings"
    written = {file.stem: file for file in write_all(pedal)}
    placing = Placing("capture", round_key=round_key, places=("1", "2"))
    capture = keep_file(recordings, written["pedal-worn-track"], job, placing)
    log = keep_file(recordings, written["trims-unmetered-air"], job, Placing("log"))
    content = written["air-mass-snap-sound"].read_bytes()
    sent = incoming.begin(recordings.store, job, "snap.csv", len(content))
    incoming.append(recordings.store, sent.key, 0, content)
    server.book.conclude(job, fault="none", cause="none", repair="none", not_tested="the rest")
    return {
        "jobs": "/",
        "new job": "/jobs/new",
        "job": f"/jobs/{job}",
        "job edit": f"/jobs/{job}/edit",
        "sheet": f"/sheets/{sheet}",
        "new round": f"/sheets/{sheet}/rounds/new",
        "round": f"/rounds/{round_key}",
        "entry": f"/rounds/{round_key}/entry?quantity=volts&place=1",
        "known reading": f"/sheets/{sheet}/known-reading?quantity=volts&place=1&plugged=no&key=on",
        "witnesses": f"/sheets/{sheet}/witnesses",
        "outcome": f"/jobs/{job}/outcome",
        "new recording": f"/jobs/{job}/recordings/new",
        "recording sent": f"/incoming/{sent.key}",
        "capture": f"/recordings/{capture}",
        "log": f"/recordings/{log}",
        "trims": f"/trims?job={job}",
        "trims explained": "/trims?trim-idle-1=22&trim-2500-1=5&trim-idle-2=3&do=explain",
        "curves": "/curves",
        "curves answered": "/curves?reading=2.41+V&pull_up=2.2k&do=means",
        "curves fitted": "/curves?points=0+degC=3.64V%0A90+degC=0.50V&do=fit",
        "air": f"/air?job={job}",
        "air answered": AIR,
        "settings": "/settings",
        "devices": "/devices",
        "missing": "/jobs/0000000000000000",
    }


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("width", [PHONE["width"], DESK["width"]])
def test_every_page_is_fit_to_be_used(
    server: Server, browser: Browser, pages: dict[str, str], width: int, theme: str
) -> None:
    viewport = PHONE if width == PHONE["width"] else DESK
    context = browser.new_context(
        viewport=viewport,  # type: ignore[arg-type]  # a TypedDict of the library
        color_scheme="dark" if theme == "dark" else "light",
        bypass_csp=True,  # for the script that checks, not for the pages' own
    )
    page = context.new_page()
    found: dict[str, list[str]] = {}
    SHOTS.mkdir(parents=True, exist_ok=True)
    for name, address in pages.items():
        page.goto(server.url + address)
        if name == "sheet":
            expect(page.locator("#known .known-working")).to_have_count(0, timeout=FIRST_ANSWER)
        page.screenshot(
            path=SHOTS / f"{name.replace(' ', '-')}-{width}-{theme}.png", full_page=True
        )
        found[name] = _grave(page)
        sideways = page.evaluate("document.documentElement.scrollWidth")
        if sideways > width:
            found[name].append(f"sticks out: {sideways} px")
        if page.locator("h1").count() != 1:
            found[name].append("not one h1")
    context.close()
    assert {name: findings for name, findings in found.items() if findings} == {}


def _grave(page: Page) -> list[str]:
    page.add_script_tag(path=AXE)
    result: dict[str, Any] = page.evaluate("axe.run()")
    return [
        f"{each['id']}: {each['nodes'][0]['html'][:160]}"
        for each in result["violations"]
        if each["impact"] in GRAVE
    ]


def test_the_check_can_fail(browser: Browser) -> None:
    """A page with known mistakes: no language, no label, a picture without words."""
    page = browser.new_page()
    page.set_content("<title>x</title><img src='data:,'><input><h1>x</h1>")
    findings = _grave(page)
    page.close()
    assert {finding.partition(":")[0] for finding in findings} >= {
        "html-has-lang",
        "image-alt",
        "label",
    }
