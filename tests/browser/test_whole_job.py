"""A whole job on a phone, as a technician does it: from the complaint to the report in hand."""

from __future__ import annotations

import subprocess
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Final

import pytest
from playwright.sync_api import Page, expect

from backprobe.job import Indication, Round, read_job
from backprobe.services.answer_desk import PATIENCE
from backprobe.store.cells import Cell, cells_of
from tests.browser.at_the_sheet import begin_round, cell, close_pad, enter, wait_for_answer
from tests.browser.conftest import ROOT, Server

pytestmark = pytest.mark.slow

# The invented vehicle at which is measured: an air-mass sensor in order, four wires.
VEHICLE: Final = read_job(ROOT / "examples" / "healthy-air-mass.toml")
WIRES: Final = "1 GN/WH\n2 RD/BU\n3 BN/BK\n4 YE"
MOST_STEPS: Final = 12
QUANTITY: Final = {
    "battery volts": "battery_volts",
    "black lead check": "black_lead_check",
    "volts": "volts",
}
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


def written_of(source: Round, lift: float = 0.0) -> dict[tuple[str, str], str]:
    """Battery, black-lead check and volts of one round as the meter shows them, by their cells."""
    check = source.black_lead_check
    assert source.battery_volts is not None
    assert check is not None
    shown = {
        ("battery volts", ""): f"{source.battery_volts.value:.2f}",
        ("black lead check", ""): f"{check.value - lift:.2f}",
    }
    for pin, reading in source.volts.items():
        shown["volts", pin] = f"{reading.value - lift:.3f}"
    return shown


def read_round(phone: Page, name: str, source: Round, lift: float = 0.0) -> None:
    """Enter one round, all lower by a lift of the black lead's point."""
    enter_all(phone, written_of(source, lift).items(), name)


def enter_all(
    phone: Page, readings: Iterable[tuple[tuple[str, str], str]], name: str = "C"
) -> None:
    for place, written in readings:
        enter(phone, cell(phone, name, *place), written)


def written_in(indication: Indication | None) -> str:
    return "" if indication is None else indication.written


def wanted_of(phone: Page, known: Mapping[tuple[bool, str, Cell], str]) -> tuple[str, str]:
    """The cell to read next and what the vehicle shows there; empty where that is not known.

    Read at once: when the whole search has ended, another cell may be the wanted one.
    """
    wanted = phone.locator("a.cell.is-wanted").evaluate_all("all => all.map(a => a.dataset)")
    if not wanted:
        return "", ""
    first = wanted[0]
    column = phone.locator(f"#round-{first['round']} .round-state").inner_text()
    place = (first["quantity"], first["place"])
    return first["label"], known.get((column.startswith("plugged"), "on", place), "")


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
        if not phone.locator("a.cell.is-wanted, .known-next > li").count():
            break
        label, written = wanted_of(phone, known)
        if written:
            wanted = phone.locator(f'a.cell[data-label="{label}"]')
            if wanted.count():  # a value that is no longer wanted goes when the search has ended
                number, _, unit = written.partition(" ")
                enter(phone, wanted, number, unit)
                taken += 1
            continue
        # Without waiting for one, since that search may also find that nothing more is wanted.
        phone.get_by_role("button", name="Skip: can't reach it").evaluate_all(
            "all => all.slice(0, 1).forEach(button => button.click())"
        )
        expect(phone.locator("h2#readings")).to_be_visible()
    return taken


def doubtful_round_is_voided(phone: Page, unplugged: Round) -> None:
    """Round A with the black lead on a painted bracket: the page says so, and it is voided."""
    begin_round(phone, plugged=False, key="on", black_lead="bracket")
    read_round(phone, "A", unplugged, lift=LIFT)
    wait_for_answer(phone)
    expect(phone.locator("#known .known-alarm")).to_contain_text("not a sound ground point")
    phone.locator("a.round-name").tap()
    phone.get_by_label("Why it doesn't count").fill("black lead was on paint")
    phone.get_by_role("button", name="Void the round").tap()
    expect(phone.locator(".round-void")).to_contain_text("black lead was on paint")


def goes_on_to_the_report(phone: Page, tmp_path: Path) -> None:
    """Read what is proposed until the wires are known, then hold the report in hand."""
    wait_for_answer(phone)
    expect(phone.locator("#known .known-alarm")).to_have_count(0)
    follow_the_proposals(phone)
    wait_for_answer(phone)
    wires = phone.locator(".known-wire strong")
    for number, role in enumerate(("Signal", "Battery feed", "Sensor ground", "Thermistor")):
        expect(wires.nth(number)).to_contain_text(role)
    expect(phone.locator(".known-verdict")).to_contain_text("no fault in this circuit")
    text = report_text(phone, tmp_path)
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


def report_text(phone: Page, tmp_path: Path) -> str:
    """The words of the report that the page offers."""
    # It waits for the whole search, beside what else the machine does.
    with phone.expect_download(timeout=1e3 * PATIENCE) as offered:
        phone.evaluate(
            "() => { const link = document.querySelector('a[href$=\"report.pdf\"]');"
            " link.download = ''; link.click(); }"
        )
    file = tmp_path / "report.pdf"
    offered.value.save_as(file)
    return subprocess.run(
        ["pdftotext", "-layout", str(file), "-"], capture_output=True, text=True, check=True
    ).stdout


def test_from_the_complaint_to_the_report(server: Server, phone: Page, tmp_path: Path) -> None:
    unplugged, plugged = VEHICLE.rounds[0], VEHICLE.rounds[1]
    new_job(phone, server)
    doubtful_round_is_voided(phone, unplugged)
    # The same again from battery negative, and plugged in.
    begin_round(phone, plugged=False, key="on")
    read_round(phone, "B", unplugged)
    begin_round(phone, plugged=True, key="on")
    read_round(phone, "C", plugged)
    goes_on_to_the_report(phone, tmp_path)


def test_the_same_job_with_the_connection_cut_in_a_round(
    server: Server, phone: Page, tmp_path: Path
) -> None:
    """Cut after two readings, loaded anew while cut: every reading is there exactly once."""
    unplugged, plugged = VEHICLE.rounds[0], VEHICLE.rounds[1]
    new_job(phone, server)
    doubtful_round_is_voided(phone, unplugged)
    begin_round(phone, plugged=False, key="on")
    read_round(phone, "B", unplugged)
    begin_round(phone, plugged=True, key="on")
    phone.evaluate("navigator.serviceWorker.ready.then(() => undefined)")
    phone.reload()  # now through the script that keeps it at hand

    todo = list(written_of(plugged).items())
    enter_all(phone, todo[:2])
    expect(phone.locator(".cell-wait")).to_have_count(0)
    phone.context.set_offline(True)
    expect(phone.locator("#connection")).to_contain_text("No connection")
    enter_all(phone, todo[2:4])
    waits = phone.locator("#outbox")
    expect(waits).to_contain_text("2 readings wait")
    phone.reload()
    expect(waits).to_contain_text("2 readings wait")
    for place, written in todo[2:4]:
        expect(cell(phone, "C", *place).locator(".cell-text")).to_have_text(f"{written} V")
    enter_all(phone, todo[4:])
    phone.context.set_offline(False)
    expect(waits).to_be_hidden(timeout=30_000)
    expect(phone.locator(".cell-wait")).to_have_count(0)

    record = server.book.sheet(phone.url.partition("/sheets/")[2][:16])[2].rounds[2]
    kept = [(e.quantity, e.place, e.indication) for e in record.entries]
    assert sorted((q, p, written_in(i)) for q, p, i in kept) == sorted(
        (QUANTITY[q], p, f"{written} V") for (q, p), written in todo
    )
    goes_on_to_the_report(phone, tmp_path)
