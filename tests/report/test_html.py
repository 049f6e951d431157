"""The report as a page."""

from dataclasses import replace
from itertools import pairwise

from backprobe.report import contents, render_html
from tests.report.jobs_on_file import record, source, with_photo
from tests.report.reading_documents import Page, squeezed
from tests.report.test_pdf import HOSTILE, hostile


def test_nothing_comes_from_elsewhere_and_nothing_runs() -> None:
    held, photos = with_photo(record())
    page = Page(render_html(contents(source(held, photos))))
    assert not {"script", "link", "iframe", "object", "embed", "form", "base"} & set(page.tags)
    assert page.addresses
    assert all(address.startswith("data:image/jpeg;base64,") for address in page.addresses)


def test_the_style_loads_nothing() -> None:
    page = render_html(contents(source()))
    style = page[page.index("<style>") : page.index("</style>")]
    assert "url(" not in style
    assert "@import" not in style


def test_hostile_words_stay_words() -> None:
    page = Page(render_html(hostile()))
    assert "script" not in page.tags
    assert "label" not in page.tags
    assert squeezed(HOSTILE).strip() in page.text
    assert "\u65e5\u672c" in page.text
    assert "\u202e" not in page.text


def test_it_says_all_that_the_report_says() -> None:
    report = contents(source())
    page = Page(render_html(report))
    for section in (*report.customer, *report.sections):
        assert section.title in page.text
    assert report.digest in page.text
    assert page.tags.count("del") == 2
    assert page.tags.count("svg") == 3  # before and after; the circuit found and repaired


def test_headings_follow_one_another_without_a_gap() -> None:
    """WCAG 2.2, technique G141."""
    levels = [
        int(t[1]) for t in Page(render_html(contents(source()))).tags if t in ("h1", "h2", "h3")
    ]
    assert levels[0] == 1
    assert all(b - a <= 1 for a, b in pairwise(levels))


def test_the_same_report_gives_the_same_page() -> None:
    assert render_html(contents(source())) == render_html(contents(source()))


def test_a_page_holds_no_control_characters() -> None:
    head = replace(record().head, complaint="bell \x07 here")
    assert "\x07" not in render_html(contents(source(replace(record(), head=head))))
