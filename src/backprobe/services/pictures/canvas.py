"""Writes SVG with presentation attributes only.

No style element, no style attribute, no script, no id, nothing from outside: the same text may be
put into a page under a strict content policy, twice on one page, or into a printed document.
"""

from __future__ import annotations

import html
import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Final, Literal

Anchor = Literal["start", "middle", "end"]

FAMILY: Final = "DejaVu Sans, system-ui, sans-serif"
SIZE: Final = 12.0  # nothing is set smaller
LINE: Final = 15.0  # from one line of text to the next
# Readable on white and on near black: 4.3 to 1 on either by the formula of WCAG 2.2 for contrast.
FAULT: Final = "#da4529"
# What XML 1.0 (section 2.2) doesn't allow in a text.
_NOT_XML: Final = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def number(value: float) -> str:
    """Write a coordinate with a tenth at most."""
    text = f"{value:.1f}".removesuffix(".0")
    return "0" if text == "-0" else text


def escape(words: str) -> str:
    """Make any text safe inside the picture, in an element or an attribute."""
    return html.escape(_NOT_XML.sub("\ufffd", words), quote=True)


@dataclass(slots=True)
class Canvas:
    """A picture being drawn; ``ink`` is the colour of lines and words."""

    ink: str = "currentColor"
    paper: str = "none"
    _parts: list[str] = field(default_factory=list)

    def line(
        self,
        points: tuple[float, ...],
        *,
        stroke: str = "",
        width: float = 1.5,
        dash: str = "",
        opacity: float = 1.0,
    ) -> None:
        """A line through points x, y, x, y ..."""
        pairs = [f"{number(x)} {number(y)}" for x, y in zip(points[::2], points[1::2], strict=True)]
        self.path("M" + "L".join(pairs), stroke=stroke, width=width, dash=dash, opacity=opacity)

    def path(
        self,
        data: str,
        *,
        stroke: str = "",
        width: float = 1.5,
        fill: str = "none",
        dash: str = "",
        opacity: float = 1.0,
    ) -> None:
        """A path; its data come from the program, never from a job."""
        self._parts.append(
            f'<path d="{data}"{self._look(stroke or self.ink, width, fill, dash, opacity)}/>'
        )

    def rect(
        self,
        box: tuple[float, float, float, float],
        *,
        radius: float = 0.0,
        stroke: str = "",
        width: float = 1.5,
        fill: str = "none",
        dash: str = "",
        opacity: float = 1.0,
    ) -> None:
        """A rectangle: x, y, width, height."""
        x, y, wide, high = (number(each) for each in box)
        rounded = f' rx="{number(radius)}"' if radius else ""
        self._parts.append(
            f'<rect x="{x}" y="{y}" width="{wide}" height="{high}"{rounded}'
            f"{self._look(stroke or self.ink, width, fill, dash, opacity)}/>"
        )

    def circle(
        self,
        centre: tuple[float, float],
        radius: float,
        *,
        stroke: str = "",
        width: float = 1.5,
        fill: str = "none",
    ) -> None:
        """A circle."""
        self._parts.append(
            f'<circle cx="{number(centre[0])}" cy="{number(centre[1])}" r="{number(radius)}"'
            f"{self._look(stroke or self.ink, width, fill, '', 1.0)}/>"
        )

    def dot(self, centre: tuple[float, float]) -> None:
        """The dot of a joint."""
        self.circle(centre, 3.0, fill=self.ink)

    def text(
        self,
        x: float,
        y: float,
        words: str,
        *,
        size: float = SIZE,
        bold: bool = False,
        anchor: Anchor = "start",
        colour: str = "",
    ) -> None:
        """Words on one line; ``y`` is their base line."""
        weight = ' font-weight="bold"' if bold else ""
        place = f' text-anchor="{anchor}"' if anchor != "start" else ""
        self._parts.append(
            f'<text x="{number(x)}" y="{number(y)}" font-size="{number(size)}"{weight}{place}'
            f' fill="{escape(colour or self.ink)}">{escape(words)}</text>'
        )

    def lines(
        self,
        x: float,
        y: float,
        lines: tuple[str, ...],
        *,
        size: float = SIZE,
        bold: bool = False,
        anchor: Anchor = "start",
    ) -> float:
        """Several lines of text; gives the base line of the next one."""
        for words in lines:
            self.text(x, y, words, size=size, bold=bold, anchor=anchor)
            y += LINE * size / SIZE
        return y

    @contextmanager
    def turned(self, x: float, y: float, degrees: float = 0.0) -> Iterator[None]:
        """Draw around a point of its own, turned clockwise."""
        turn = f" rotate({number(degrees)})" if degrees else ""
        self._parts.append(f'<g transform="translate({number(x)} {number(y)}){turn}">')
        yield
        self._parts.append("</g>")

    def finish(self, width: float, height: float, title: str, description: str) -> str:
        """The whole picture, with the same told in words for those who can't see it."""
        size = f"{number(width)} {number(height)}"
        paper = ""
        if self.paper != "none":
            paper = (
                f'<path d="M0 0H{number(width)}V{number(height)}H0z" fill="{escape(self.paper)}"/>'
            )
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" role="img" class="bp-picture"'
            f' viewBox="0 0 {size}" width="{number(width)}" height="{number(height)}"'
            f' font-family="{FAMILY}" fill="none" stroke-linecap="round" stroke-linejoin="round">'
            f"<title>{escape(title)}</title><desc>{escape(description)}</desc>"
            f"{paper}{''.join(self._parts)}</svg>"
        )

    def _look(self, stroke: str, width: float, fill: str, dash: str, opacity: float) -> str:
        look = f' stroke="{escape(stroke)}"'
        look += f' stroke-width="{number(width)}"' if width != 1.0 else ""
        look += f' fill="{escape(fill)}"' if fill != "none" else ""
        # Round ends would fill the gaps between dashes.
        look += f' stroke-dasharray="{dash}" stroke-linecap="butt"' if dash else ""
        return look + (f' opacity="{opacity:g}"' if opacity != 1.0 else "")
