"""What stands in a finished document, read back by programs that are not ours."""

import re
import subprocess
from html.parser import HTMLParser

from backprobe.report import Report
from backprobe.report.blocks import Block, Facts, Group, Paragraph, Points, Table, plain


def pdf_text(pdf: bytes) -> str:
    """What the PDF holds as text, wherever its lines were broken."""
    return squeezed(raw_text(pdf))


def raw_text(pdf: bytes) -> str:
    """What somebody copies from the PDF: pdftotext of poppler."""
    done = subprocess.run(
        ["pdftotext", "-raw", "-enc", "UTF-8", "-", "-"], input=pdf, capture_output=True, check=True
    )
    return done.stdout.decode("utf-8")


def squeezed(text: str) -> str:
    """Text whose lines were broken anywhere, as one line."""
    return re.sub(r"\s+", " ", text.replace("\N{ZERO WIDTH SPACE}", ""))


def pdf_info(pdf: bytes) -> dict[str, str]:
    """What pdfinfo of poppler says of it."""
    done = subprocess.run(["pdfinfo", "-"], input=pdf, capture_output=True, check=True)
    lines = (line.partition(":") for line in done.stdout.decode("utf-8").splitlines())
    return {name: value.strip() for name, _, value in lines}


class Page(HTMLParser):
    """Elements, attributes and text of a page."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.addresses: list[str] = []
        self._text: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        for name, value in attrs:
            assert not name.startswith("on"), f"{tag} has a script in {name}"
            if name in ("src", "href", "srcset", "action", "data", "xlink:href"):
                self.addresses.append(value or "")

    def handle_data(self, data: str) -> None:
        self._text.append(data)

    @property
    def text(self) -> str:
        return squeezed(" ".join(self._text))


def said_in(report: Report, title: str = "") -> str:
    """All words of a report, or of its sections with this in their title."""
    sections = [s for s in (*report.customer, *report.sections) if title in s.title]
    return "\n".join(told(block) for s in sections for block in s.blocks)


def told(block: Block) -> str:
    match block:
        case Paragraph(words, _):
            return plain(words)
        case Facts(rows):
            return "\n".join(f"{name}: {plain(what)}" for name, what in rows)
        case Table(columns, rows):
            head = " | ".join(column.head for column in columns)
            return "\n".join([head, *(" | ".join(map(plain, row)) for row in rows)])
        case Points(items, _):
            return "\n".join(map(plain, items))
        case Group(title, blocks):
            return "\n".join([title, *map(told, blocks)])
        case _:
            return ""
