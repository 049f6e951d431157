"""A whole job on a phone, as a technician does it: from the complaint to the report in hand."""

from __future__ import annotations

import subprocess
from pathlib import Path
from typing import Final

import pytest
from playwright.sync_api import Page, expect

from backprobe.job import Round, read_job
from backprobe.store.cells import cells_of
from tests.browser.at_the_sheet import begin_round, cell, close_pad, enter, wait_for_answer
from tests.browser.conftest import ROOT, Server

pytestmark = pytest.mark.slow

# The invented vehicle at which is measured: an air-mass sensor in order, four wires.
VEHICLE: Final = read_job(ROOT / "examples" / "healthy-air-mass.toml")
WIRES: Final = "1 GN/WH\n2 RD/BU\n3 BN/BK\n4 YE"
MOST_STEPS: Final = 12
LIFT: Final = 0.41  # V by which the painted point stands above battery negative


def new_job(phone: Page, server: Server) -> None:
    phone.goto(server.url)
    phone.get_by_role("link", name="New job").tap()
    phone.get_by_label("Title").fill("Hesitates on a cold morning")
    phone.get_by_label("Complaint, in the customer's words").fill("Stumbles after the start")
    phone.get_by_label("Connector", exact=True).fill("intake pipe sensor")
    phone.get_by_label("Wires, one a line: number and colour").fill(WIRES)
    phone.get_by_role("button", name="Begin the job").tap()
    expect(phone.locator("h1")).to_contain_text("intake pipe sensor")


def read_round(phone: Page, name: str, source: Round, lift: float = 0.0) -> None:
    """Enter the volts, battery and black-lead check of one round, all lower by a lift."""
    check = source.black_lead_check
    assert source.battery_volts is not None
    assert check is not None
    enter(phone, cell(phone, name, "battery volts"), f"{source.battery_volts.value:.2f}")
    enter(phone, cell(phone, name, "black lead check"), f"{check.value - lift:.2f}")
    for pin, reading in source.volts.items():
        enter(phone, cell(phone, name, "volts", pin), f"{reading.value - lift:.3f}")


def follow_the_proposals(phone: Page) -> int:
    """Read what is proposed where the vehicle's values are known, else skip; until settled."""
    known = {
        (each.plugged, each.key, cell): reading.written or f"{reading.value:.2f} V"
        for each in VEHICLE.rounds
        for cell, reading in cells_of(each)
    }
    taken = 0
    for _ in range(MOST_STEPS):
        wait_for_answer(phone)
        wanted = phone.locator("a.cell.is-wanted")
        if wanted.count() == 0 and not phone.locator(".known-next > li").count():
            break
        if wanted.count():
            at = wanted.first
            place = (at.get_attribute("data-quantity"), at.get_attribute("data-place"))
            column = phone.locator(f"#round-{at.get_attribute('data-round')} .round-state")
            plugged = column.inner_text().startswith("plugged")
            written = known.get((plugged, "on", place))  # type: ignore[arg-type]  # None is no key
            if written is not None:
                number, _, unit = written.partition(" ")
                enter(phone, at, number, unit)
                taken += 1
                continue
        phone.get_by_role("button", name="Skip: can't reach it").first.tap()
        expect(phone.locator("h2#readings")).to_be_visible()
    return taken


def test_from_the_complaint_to_the_report(server: Server, phone: Page, tmp_path: Path) -> None:
    unplugged, plugged = VEHICLE.rounds[0], VEHICLE.rounds[1]
    new_job(phone, server)

    # The black lead on a painted bracket: everything low, and the page says so.
    begin_round(phone, plugged=False, key="on", black_lead="bracket")
    read_round(phone, "A", unplugged, lift=LIFT)
    wait_for_answer(phone)
    expect(phone.locator("#known .known-alarm")).to_contain_text("not a sound ground point")
    phone.locator("a.round-name").tap()
    phone.get_by_label("Why it doesn't count").fill("black lead was on paint")
    phone.get_by_role("button", name="Void the round").tap()
    expect(phone.locator(".round-void")).to_contain_text("black lead was on paint")

    # The same again from battery negative, and plugged in.
    begin_round(phone, plugged=False, key="on")
    read_round(phone, "B", unplugged)
    begin_round(phone, plugged=True, key="on")
    read_round(phone, "C", plugged)
    wait_for_answer(phone)
    expect(phone.locator("#known .known-alarm")).to_have_count(0)

    follow_the_proposals(phone)
    wait_for_answer(phone)
    wires = phone.locator(".known-wire strong")
    for number, role in enumerate(("Signal", "Battery feed", "Sensor ground", "Thermistor")):
        expect(wires.nth(number)).to_contain_text(role)
    expect(phone.locator(".known-verdict")).to_contain_text("no fault in this circuit")

    with phone.expect_download() as offered:
        phone.evaluate(
            "() => { const link = document.querySelector('a[href$=\"report.pdf\"]');"
            " link.download = ''; link.click(); }"
        )
    file = tmp_path / "report.pdf"
    offered.value.save_as(file)
    text = subprocess.run(
        ["pdftotext", "-layout", str(file), "-"], capture_output=True, text=True, check=True
    ).stdout
    for part in (
        "Hesitates on a cold morning",
        "Stumbles after the start",
        "black lead was on paint",
        "Battery feed",
        "GN/WH",
        "12.43 V",
    ):
        assert part.casefold() in text.casefold(), part
    close_pad(phone)
