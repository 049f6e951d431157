"""What a technician does at a sheet, as a browser does it."""

from __future__ import annotations

from typing import Final

from playwright.sync_api import Locator, Page, expect

# ms; the very first answer on a machine solves all circuits, beside other tests that do the same.
FIRST_ANSWER: Final = 240_000


def cell(page: Page, round_name: str, quantity: str, place: str = "") -> Locator:
    where = f" at {place}" if place else ""
    return page.locator(f'a.cell[data-label="Round {round_name}: {quantity}{where}"]')


def type_reading(page: Page, digits: str, unit: str = "") -> None:
    """Tap a reading on the pad that is open, and enter it."""
    if unit:
        page.locator(f"#pad [data-unit='{unit}']").tap()
    if digits.startswith("-"):
        page.locator("#pad [data-sign='±']").tap()
    if digits == "OL":
        page.locator("#pad [data-sign='OL']").tap()
    else:
        for sign in digits.removeprefix("-"):
            page.locator(f"#pad [data-sign='{sign}']").tap()
    page.locator("#pad [data-pad=enter]").tap()


def close_pad(page: Page) -> None:
    if page.locator("#pad").evaluate("pad => pad.open"):
        page.locator("#pad [data-pad=close]").tap()


def enter(page: Page, at: Locator, digits: str, unit: str = "") -> None:
    """Open one cell, write a reading into it, close the pad."""
    label = at.get_attribute("data-label")
    # By its name: "the wanted cell" may be another one a moment later.
    page.locator(f'a.cell[data-label="{label}"]').tap()
    type_reading(page, digits, unit)
    # The pad closes, or goes on to another cell, once the reading is kept on the device.
    page.wait_for_function(
        "label => !document.getElementById('pad').open"
        " || document.getElementById('pad-title').textContent !== label",
        arg=label,
    )
    close_pad(page)


def begin_round(
    page: Page, *, plugged: bool, key: str, black_lead: str = "battery negative", rpm: str = ""
) -> None:
    page.locator(".sheet-do a.sheet-button").first.tap()
    page.get_by_role("radio", name="plugged in" if plugged else "unplugged", exact=True).check(
        force=True
    )
    page.get_by_role("radio", name=key, exact=True).check(force=True)
    if rpm:
        page.locator("input[name=rpm]").fill(rpm)
    point = page.get_by_role("radio", name=black_lead, exact=True)
    if point.count():
        point.check(force=True)
    else:
        page.locator("input[name=other_point]").fill(black_lead)
    page.get_by_role("button", name="Begin the round").tap()
    expect(page.locator("h2#readings")).to_be_visible()


def wait_for_answer(page: Page) -> None:
    """Wait until what is known belongs to the readings on the sheet."""
    expect(page.locator(".cell-wait")).to_have_count(0)
    expect(page.locator("#known .known-verdict")).to_be_visible(timeout=FIRST_ANSWER)
    expect(page.locator("#known .known-working")).to_have_count(0, timeout=FIRST_ANSWER)
