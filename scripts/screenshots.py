"""Take the pictures of README.md anew: a sheet on a phone, and the first page of a report.

A server of its own shows the example jobs from a data base of its own; Debian's Chromium looks at
it through Playwright. What is shown are the pages as they are: nothing is drawn in afterwards.
"""

from __future__ import annotations

import io
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from PIL import Image
from playwright.sync_api import Browser, ViewportSize, sync_playwright

from backprobe.services.job_book import JobBook
from backprobe.store.engine import Store
from scripts import demo_jobs

PICTURES: Final = demo_jobs.EXAMPLES.parent / "docs" / "pictures"
SHEET_OF: Final = "Two wires at five volts"  # a job that is still open, with a reading to take next
REPORT_OF: Final = "Gauge stays at cold"  # the one that was repaired and closed
PHONE: Final[ViewportSize] = {
    "width": 360,
    "height": 1130,
}  # tall enough to show what is known below the table
REPORT_DPI: Final = 88
COLOURS: Final = 128
MOST_BYTES: Final = 120_000
PATIENCE: Final = 120.0  # s; on a new machine the circuits are solved first
# Debian's build asks for nothing of its maker's servers with these.
QUIET: Final = (
    *("--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"),
    *("--disable-background-networking", "--disable-component-update", "--disable-sync"),
)


class PictureError(Exception):
    """A picture can't be taken, and why."""


@contextmanager
def serving(database: Path) -> Iterator[str]:
    """Serve a data base on a free port for as long as this lasts; the address is given."""
    process = subprocess.Popen(  # noqa: S603  # our own program
        [sys.executable, "-m", "backprobe", "serve", "--port", "0", "--database", str(database)],
        stdout=subprocess.PIPE,
        text=True,
    )
    try:
        first = process.stdout.readline() if process.stdout else ""
        address = next((word for word in first.split() if word.startswith("http://")), "")
        if not address:
            raise PictureError("The server didn't start.")
        yield address.rstrip("/")
    finally:
        process.terminate()
        process.wait(timeout=20)


def keys_of(database: Path, title: str) -> tuple[str, str]:
    """Keys of a job and of its first sheet, by words of its title."""
    store = Store(str(database))
    try:
        book = JobBook(store)
        job = book.listed(title, limit=1)[0][0].key
        return job, book.job(job).sheets[0].key
    finally:
        store.close()


def sheet_picture(browser: Browser, address: str, sheet: str) -> Image.Image:
    """The sheet as a phone shows it, once all is worked out."""
    page = browser.new_page(viewport=PHONE, device_scale_factor=2, color_scheme="light")
    until = time.monotonic() + PATIENCE
    page.goto(f"{address}/sheets/{sheet}")
    answer = f"{address}/api/sheets/{sheet}/answer"
    while not page.request.get(answer).json()["is_current"]:
        if time.monotonic() > until:
            raise PictureError("No answer to the sheet came.")
        time.sleep(0.3)
    page.reload()
    page.locator(".known-verdict").wait_for()
    page.evaluate("document.fonts.ready")
    shot = page.screenshot(
        animations="disabled",
        clip={"x": 0, "y": 0, "width": PHONE["width"], "height": PHONE["height"]},
    )
    page.close()
    return Image.open(io.BytesIO(shot))


def report_picture(browser: Browser, address: str, job: str, folder: Path) -> Image.Image:
    """The first page of a job's report on paper."""
    page = browser.new_page()
    answer = page.request.get(f"{address}/jobs/{job}/report.pdf", timeout=PATIENCE * 1000)
    if not answer.ok:
        raise PictureError(f"There is no report: {answer.status} {answer.text()[:300]}")
    pdf = folder / "report.pdf"
    pdf.write_bytes(answer.body())
    page.close()
    pages = ("-f", "1", "-l", "1", "-singlefile", "-r", str(REPORT_DPI))
    command = ["pdftoppm", "-png", *pages, str(pdf), str(pdf.with_suffix(""))]
    subprocess.run(command, check=True)  # noqa: S603  # looked for at the start
    return Image.open(pdf.with_suffix(".png"))


def keep(picture: Image.Image, name: str) -> None:
    """Write a picture with few colours, small enough for a repository."""
    few = picture.convert("RGB").quantize(COLOURS, dither=Image.Dither.NONE)
    file = PICTURES / name
    few.save(file, optimize=True)
    size = file.stat().st_size
    if size > MOST_BYTES:
        raise PictureError(f"{name} has {size} bytes, more than {MOST_BYTES}.")
    sys.stdout.write(f"docs/pictures/{name}: {size / 1000:.0f} kB\n")


def main() -> int:
    """Take all pictures; status 1 where that can't be done."""
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    if chromium is None or shutil.which("pdftoppm") is None:
        sys.stderr.write("Needed: sudo apt-get install chromium poppler-utils\n")
        return 1
    PICTURES.mkdir(parents=True, exist_ok=True)
    os.environ.pop("BACKPROBE_DATABASE", None)
    with tempfile.TemporaryDirectory() as name, sync_playwright() as playwright:
        folder = Path(name)
        database = folder / "jobs.sqlite3"
        demo_jobs.main(str(database))
        _, sheet = keys_of(database, SHEET_OF)
        job, _ = keys_of(database, REPORT_OF)
        browser = playwright.chromium.launch(executable_path=chromium, args=list(QUIET))
        try:
            with serving(database) as address:
                keep(sheet_picture(browser, address, sheet), "sheet.png")
                keep(report_picture(browser, address, job, folder), "report.png")
        except PictureError as error:
            sys.stderr.write(f"{error}\n")
            return 1
        finally:
            browser.close()
    return 0


if __name__ == "__main__":
    sys.exit(main())
