"""A report as one page: no script, nothing from elsewhere, readable on a phone, fit to print."""

from __future__ import annotations

import base64
import unicodedata
from collections.abc import Iterable
from html import escape
from pathlib import Path
from typing import Final

from backprobe.report.blocks import (
    Block,
    Facts,
    Group,
    Paragraph,
    Photo,
    Picture,
    Points,
    Report,
    Section,
    SignatureLines,
    Span,
    Table,
    Words,
)
from backprobe.report.glyphs import BOX, with_units

STYLE: Final = (Path(__file__).parent / "report.css").read_text(encoding="utf-8")
NARROW: Final = 500  # units of a drawing; one of fewer may stand beside text
_TAG: Final = {"bold": "strong", "struck": "del", "note": "sup"}


def render_html(report: Report) -> str:
    """Write a report as one self-contained file."""
    line = " · ".join(
        each for each in (report.vehicle, f"VIN {report.vin}" if report.vin else "") if each
    )
    return (
        '<!doctype html>\n<html lang="en-GB">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        # The page loads nothing; a browser that knows this rule lets nothing be loaded.
        '<meta http-equiv="Content-Security-Policy" content="default-src \'none\'; '
        "img-src data:; style-src 'unsafe-inline'\">\n"
        f"<title>{_text(report.title)}</title>\n<style>\n{STYLE}</style>\n</head>\n<body>\n"
        f"<main>\n<header>\n<h1>{_text(report.title)}</h1>\n<p>{_text(line)}</p>\n"
        f'<p class="small">{_text(report.about)}</p>\n</header>\n'
        f'<div class="customer">\n{_sections(report.customer)}</div>\n'
        f'<div class="record">\n<p class="part">Technical record</p>\n'
        f"{_sections(report.sections)}</div>\n</main>\n"
        f'<footer><p class="small">{_text(report.printed)}</p></footer>\n</body>\n</html>\n'
    )


def _sections(sections: Iterable[Section]) -> str:
    return "".join(
        f"<section>\n<h2>{_text(each.title)}</h2>\n{_blocks(each.blocks)}</section>\n"
        for each in sections
    )


def _blocks(blocks: Iterable[Block]) -> str:
    return "".join(f"{_block(each)}\n" for each in blocks)


def _block(block: Block) -> str:  # noqa: PLR0911  # one return a kind is the plainest table
    match block:
        case Paragraph(pieces, look):
            return f"<p{_class(look)}>{_words(pieces)}</p>"
        case Facts(rows):
            told = "".join(f"<dt>{_text(n)}</dt><dd>{_words(w)}</dd>" for n, w in rows)
            return f"<dl>{told}</dl>"
        case Table():
            return _table(block)
        case Points(items, ticked):
            listed = "".join(f"<li>{_words(each)}</li>" for each in items)
            return f"<ul{_class('ticked' if ticked else '')}>{listed}</ul>"
        case Picture(svg, _, width, _):
            shape = "narrow" if width < NARROW else "wide"
            return f'<div class="picture {shape}">{_clean(svg)}</div>'
        case Photo():
            return _photo(block)
        case SignatureLines(under):
            return f'<div class="sign">{"".join(f"<span>{_text(n)}</span>" for n in under)}</div>'
        case Group(title, blocks):
            return f'<div class="group"><h3>{_text(title)}</h3>\n{_blocks(blocks)}</div>'


def _table(block: Table) -> str:
    """A table whose cells know their heads, so that a narrow screen can set each row as a list."""
    side = [_class("right" if c.side == "right" else "") for c in block.columns]
    heads = "".join(
        f'<th scope="col"{s}>{_text(c.head)}</th>' for c, s in zip(block.columns, side, strict=True)
    )
    rows = "".join(
        "<tr>"
        + "".join(
            f'<td data-head="{_text(c.head)}"{s}>{_words(cell)}</td>'
            for c, s, cell in zip(block.columns, side, row, strict=True)
        )
        + "</tr>"
        for row in block.rows
    )
    wide = _class("many" if len(block.columns) > 6 else "")
    return (
        f'<div class="scroll"><table{wide}><thead><tr>{heads}</tr></thead>'
        f"<tbody>{rows}</tbody></table></div>"
    )


def _photo(photo: Photo) -> str:
    data = base64.b64encode(photo.jpeg).decode("ascii")
    return (
        f'<figure><img alt="{_text(photo.told)}" width="{photo.width}" height="{photo.height}" '
        f'src="data:image/jpeg;base64,{data}"><figcaption>{_words(photo.caption)}<br>'
        f'<span class="small">SHA-256 {_text(photo.sha256)}</span></figcaption></figure>'
    )


def _words(pieces: Words) -> str:
    return "".join(_span(each) for each in pieces)


def _span(piece: Span) -> str:
    text = _text(piece.text)
    tag = _TAG.get(piece.mark, "")
    return f"<{tag}>{text}</{tag}>" if tag else text


def _text(text: str) -> str:
    return escape(_clean(with_units(text)))


def _clean(text: str) -> str:
    """A box for what no page may hold, and for marks that would turn the order of other text."""
    return "".join(
        BOX
        if (each not in "\n\t" and unicodedata.category(each) in ("Cc", "Cs"))
        or each in "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
        else each
        for each in text
    )


def _class(name: str) -> str:
    return f' class="{name}"' if name else ""
