"""How wide words stand, and how they are broken to fit.

A picture can't ask the reader's device for its type, so it reckons with one of the widest common
sans-serif faces: what fits in that fits in a narrower one.
"""

from __future__ import annotations

import re
import unicodedata
from typing import Final

# Advance widths of the signs from space to tilde in thousandths of an em: the published metrics of
# the free DejaVu Sans 2.37, plain and bold.
_PLAIN: Final = (
    *(318, 401, 460, 838, 636, 950, 780, 275, 390, 390, 500, 838, 318, 361, 318, 337),
    *(636, 636, 636, 636, 636, 636, 636, 636, 636, 636, 337, 337, 838, 838, 838, 531),
    *(1000, 684, 686, 698, 770, 632, 575, 775, 752, 295, 295, 656, 557, 863, 748, 787),
    *(603, 787, 695, 635, 611, 732, 684, 989, 685, 611, 685, 390, 337, 390, 838, 500),
    *(500, 613, 635, 550, 635, 615, 352, 635, 634, 278, 278, 579, 278, 974, 634, 612),
    *(635, 635, 411, 521, 392, 634, 592, 818, 592, 592, 525, 636, 337, 636, 838),
)
_BOLD: Final = (
    *(348, 456, 521, 838, 696, 1002, 872, 306, 457, 457, 523, 838, 380, 415, 380, 365),
    *(696, 696, 696, 696, 696, 696, 696, 696, 696, 696, 400, 400, 838, 838, 838, 580),
    *(1000, 774, 762, 734, 830, 683, 683, 821, 837, 372, 372, 775, 637, 995, 837, 850),
    *(733, 850, 770, 720, 682, 812, 774, 1103, 771, 724, 725, 457, 365, 457, 838, 500),
    *(500, 675, 716, 593, 716, 678, 435, 716, 712, 343, 343, 665, 343, 1042, 712, 687),
    *(716, 716, 493, 595, 478, 712, 652, 924, 645, 652, 582, 712, 365, 712, 838),
)
_OTHER: Final = 850  # letters with accents, Greek, Cyrillic: few are wider
_FULL: Final = 1400  # ideographs and pictures, wider still in some faces
ELLIPSIS: Final = "…"
_GLUE: Final = "\u00a0"
# A number stays with its unit, and with the sign before it.
_GLUED: Final = re.compile(r"(?<=[<>?]) (?=\w)|(?<=\d) (?=(?:%|°C|[kMm]?ohm|m?V|k?Hz|rpm)(?!\w))")
_SHORT_ASIDE: Final = re.compile(r"\([^()]{1,18}\)")  # such as an interval


def text_width(words: str, size: float, *, bold: bool = False) -> float:
    """Width of words on one line, at most."""
    table = _BOLD if bold else _PLAIN
    return size * sum(_advance(sign, table) for sign in words) / 1000.0


def fit_text(words: str, width: float, size: float, *, bold: bool = False) -> str:
    """Words on one line no wider than a width; what doesn't fit becomes an ellipsis."""
    if text_width(words, size, bold=bold) <= width:
        return words
    kept = words
    while kept and text_width(kept + ELLIPSIS, size, bold=bold) > width:
        kept = kept[:-1]
    return kept.rstrip() + ELLIPSIS


def wrap_text(
    words: str, width: float, size: float, *, bold: bool = False, most: int = 99
) -> tuple[str, ...]:
    """Break words into lines no wider than a width; what goes beyond ``most`` lines is left out."""
    lines: list[str] = []
    line = ""
    glued = _SHORT_ASIDE.sub(lambda found: found[0].replace(" ", _GLUE), words)
    for word in re.split(r"[ \t\r\n]+", _GLUED.sub(_GLUE, glued)):
        for piece in _pieces(word, width, size, bold=bold):
            joined = f"{line} {piece}".strip()
            if line and text_width(joined, size, bold=bold) > width:
                lines.append(line)
                joined = piece
            line = joined
    lines = [each.replace(_GLUE, " ") for each in (*lines, line) if each]
    if len(lines) <= most:
        return tuple(lines)
    last = fit_text(f"{lines[most - 1]} {ELLIPSIS}{'M' * 99}", width, size, bold=bold)
    return (*lines[: most - 1], last.rstrip(f"M{ELLIPSIS} ") + ELLIPSIS)


def _pieces(word: str, width: float, size: float, *, bold: bool) -> list[str]:
    """A word, cut where it is wider than a line: at its glue first, else anywhere."""
    if text_width(word, size, bold=bold) <= width:
        return [word]
    if _GLUE in word:
        return [p for each in word.split(_GLUE) for p in _pieces(each, width, size, bold=bold)]
    found = [""]
    for sign in word:
        if found[-1] and text_width(found[-1] + sign, size, bold=bold) > width:
            found.append("")
        found[-1] += sign
    return found


def _advance(sign: str, table: tuple[int, ...]) -> int:
    place = ord(" " if sign == _GLUE else sign) - 32
    if 0 <= place < len(table):
        return table[place]
    if unicodedata.combining(sign):
        return 0
    wide = unicodedata.east_asian_width(sign) in {"W", "F"} or ord(sign) > 0xFFFF
    return _FULL if wide else _OTHER
