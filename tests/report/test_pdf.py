"""The report as PDF, read back by poppler."""

import re
from dataclasses import replace

import pytest

from backprobe.report import Paper, Report, contents, render_pdf
from backprobe.report.glyphs import BOX, Fitted, shown_characters, with_breaks
from tests.report.jobs_on_file import VIN, record, source, with_photo
from tests.report.reading_documents import pdf_info, pdf_text, raw_text

HOSTILE = (
    '#panic("x") $x^2$ </script> *bold* _it_ @ref <label> `raw` \\ #sys.inputs // end /* open '
)
HEBREW = "\u05e9\u05dc\u05d5\u05dd"


def hostile() -> Report:
    held = record()
    head = replace(
        held.head,
        title=f"{HOSTILE} \N{GRINNING FACE}",
        complaint=f"{HOSTILE} \u65e5\u672c \U0001f697 {HEBREW} {'x' * 400} \u202eno",
        meter_name="\U0001f697" * 3,
    )
    return contents(source(replace(held, head=head)))


# ISO 216: A4 is 210 x 297 mm. ANSI Y14.1: letter is 8.5 x 11 in. One point is 1/72 in.
@pytest.mark.parametrize(("paper", "size"), [("a4", (595.28, 841.89)), ("letter", (612.0, 792.0))])
def test_it_is_set_on_the_paper_asked_for(paper: Paper, size: tuple[float, float]) -> None:
    info = pdf_info(render_pdf(contents(source()), paper))
    found = re.findall(r"[\d.]+", info["Page size"])[:2]
    assert [float(each) for each in found] == pytest.approx(size, abs=0.1)


def test_it_says_that_it_can_be_archived_and_read_aloud() -> None:
    """ISO 19005-2, 6.6.4 and ISO 14289-1, 5: how a file names its part and level in XMP."""
    pdf = render_pdf(contents(source()))
    assert b"<pdfaid:part>2</pdfaid:part>" in pdf
    assert b"<pdfaid:conformance>A</pdfaid:conformance>" in pdf
    assert b"<pdfuaid:part>1</pdfuaid:part>" in pdf
    info = pdf_info(pdf)
    assert info["Tagged"] == "yes"
    assert info["Title"] == "Three sensors read low at once"
    assert info["JavaScript"] == "no"


def test_it_says_all_that_the_report_says() -> None:
    report = contents(source())
    text = pdf_text(render_pdf(report))
    for told in (report.digest, VIN, "3.13", "5.2 mV / 5.4 mV", "DISAGREE", "T. Invented"):
        assert told in text
    for section in (*report.customer, *report.sections):
        assert section.title in text


def test_each_page_has_its_number_and_the_jobs_title() -> None:
    pdf = render_pdf(contents(source()))
    n_page = int(pdf_info(pdf)["Pages"])
    text = pdf_text(pdf)
    assert n_page > 2
    for page in range(1, n_page + 1):
        assert f"{page} of {n_page}" in text
    assert text.count(f"Three sensors read low at once VIN {VIN}") == n_page - 1


def test_the_same_report_gives_the_same_bytes() -> None:
    assert render_pdf(contents(source())) == render_pdf(contents(source()))


def test_hostile_words_are_printed_as_they_are() -> None:
    text = pdf_text(render_pdf(hostile()))
    assert HOSTILE.strip() in text
    assert "x" * 400 in text.replace(" ", "")


def test_a_character_without_a_glyph_becomes_a_box_with_a_footnote() -> None:
    text = pdf_text(render_pdf(hostile()))
    assert f"{BOX} stands for a character" in text
    assert "U+65E5" in text
    assert "U+1F697 (4 times)" in text
    assert "U+202E" in text  # it would turn the order of what follows
    assert BOX not in pdf_text(render_pdf(contents(source())))


def test_the_typefaces_have_what_the_program_says() -> None:
    known = shown_characters()
    wanted = "AZaz09 .,;:!?±Ω°µ≤≥→−×…·✓□ÄÖÜäöüßéèçñ–—“”’"
    assert {each for each in wanted if ord(each) not in known} == set()
    assert 0x65E5 not in known  # a Chinese character
    assert 0x1F697 not in known


def test_a_vin_and_a_hash_can_be_copied_from_it() -> None:
    report = contents(source())
    text = raw_text(render_pdf(report))
    assert text.count(VIN) == text.replace("\N{ZERO WIDTH SPACE}", "").count(VIN)
    assert report.digest in text


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_of_texts_longer_than_a_page_nothing_is_cut_off(paper: Paper) -> None:
    def long(letter: str) -> str:
        return " ".join(f"{letter}{k}" for k in range(1200))

    held, photos = with_photo(record())
    first, *others, last = held.sheets[0].rounds
    noted = replace(first, round=replace(first.round, note=long("n")))
    void = replace(last, round=replace(last.round, void=long("v")))
    sheet = replace(held.sheets[0], rounds=(noted, *others, void))
    made = replace(
        held,
        head=replace(held.head, complaint=long("c"), recent_work=long("r")),
        sheets=(sheet, *held.sheets[1:]),
        outcomes=(
            replace(held.outcomes[-1], cause=long("a"), repair=long("e"), proof=(long("f"),)),
        ),
        attachments=(replace(held.attachments[0], caption=long("p")),),
    )
    text = pdf_text(render_pdf(contents(source(made, photos)), paper))
    found = set(re.findall(r"\w+", text))
    assert {f"{letter}{k}" for letter in "nvcraefp" for k in range(1200)} - found == set()


def test_long_words_get_places_to_break_and_hashes_do_not() -> None:
    assert with_breaks("short words stay") == "short words stay"
    assert "\N{ZERO WIDTH SPACE}" in with_breaks("x" * 40)
    assert with_breaks("0f" * 32) == "0f" * 32
    assert with_breaks(VIN) == VIN
    assert with_breaks("5.00 V and > 99 %") == "5.00\xa0V and >\xa099\xa0%"


def test_what_has_no_look_is_left_out_silently() -> None:
    fitted = Fitted()
    assert fitted.text("a\u200db\ufe0f") == "ab"
    assert fitted.footnote == ""


def test_photographs_are_set_and_broken_ones_named() -> None:
    held, photos = with_photo(record())
    with_them = render_pdf(contents(source(held, photos)))
    assert "Torn seal" in pdf_text(with_them)
    assert "Broken file" in pdf_text(with_them)
    assert with_them.count(b"/Subtype /Image") + with_them.count(b"/Subtype/Image") >= 1


def test_an_empty_job_can_be_printed() -> None:
    held = replace(record(), sheets=(), outcomes=(), events=())
    assert "No readings have been explained yet." in pdf_text(render_pdf(contents(source(held))))
