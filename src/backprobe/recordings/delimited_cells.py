"""One cell of a delimited text: a number, a clock time, nothing measured, or words."""

import math
import re
from dataclasses import dataclass
from datetime import date
from functools import cache
from typing import Final

# What instruments and tables put where there is no number; common practice, no source.
MISSING: Final = frozenset(
    (
        *("", "-", "--", "---", "?", "*", "ol", "o.l", "o.l.", "0l", ".ol", "+ol", "-ol"),
        *("inf", "+inf", "-inf", "infinity", "+infinity", "-infinity", "∞", "+∞", "-∞"),
        *("nan", "n/a", "na", "#n/a", "null", "none", "over", "overload", "overrange", "ovld"),
        *("over range", "invalid", "1.#inf", "-1.#inf", "1.#qnan", "-1.#ind", "-nan"),
    )
)
SPACES: Final = " \u00a0\u2009\u202f\ufffd"  # the last one: a byte of another encoding
_MINUS: Final = str.maketrans({"−": "-", "–": "-"})
SECONDS_A_DAY: Final = 86400.0
CLOCK: Final = re.compile(
    r"(?:(?P<iso>\d{4}-\d\d-\d\d)[T ]|\d{1,2}[./-]\d{1,2}[./-]\d{4} +)?"
    r"(?:(?P<h>\d{1,2}):(?P<m>[0-5]\d):(?P<s>[0-5]\d(?:[.,]\d+)?)"
    r"|(?P<m2>\d{1,2}):(?P<s2>[0-5]\d[.,]\d+))Z?"
)


@dataclass(frozen=True, slots=True)
class Marks:
    """Decimal mark and what parts the thousands ("" nothing)."""

    decimal: str = "."
    thousands: str = ""


@cache
def number_pattern(marks: Marks) -> re.Pattern[str]:
    """Pattern of a whole cell that is a number with these marks."""
    point = re.escape(marks.decimal)
    part = f"[{SPACES}]" if marks.thousands == " " else re.escape(marks.thousands)
    if marks.thousands == "'":
        part = "['’]"
    grouped = rf"\d{{1,3}}(?:{part}\d{{3}})+|" if marks.thousands else ""
    return re.compile(
        rf"[+-]?(?:(?:{grouped}\d+)(?:{point}\d*)?|{point}\d+)(?:[eE][+-]?\d{{1,4}})?"
    )


def is_missing(cell: str) -> bool:
    """Tell whether a cell says that nothing was measured."""
    return cell.strip().lower() in MISSING


def is_number(cell: str, marks: Marks) -> bool:
    """Tell whether a cell is a number written with these marks."""
    return number_pattern(marks).fullmatch(cell.strip().translate(_MINUS)) is not None


def number_of(cell: str, marks: Marks) -> float:
    """Value of a cell; NaN where it holds none."""
    text = cell.strip().translate(_MINUS)
    if number_pattern(marks).fullmatch(text) is None:
        return math.nan
    for mark in SPACES if marks.thousands == " " else marks.thousands.replace("'", "'’"):
        text = text.replace(mark, "")
    value = float(text.replace(marks.decimal, "."))
    return value if math.isfinite(value) else math.nan


def clock_seconds(cell: str) -> float:
    """Seconds from midnight, or from 0001-01-01 where a date as of ISO 8601 stands before it.

    NaN where the cell isn't a clock time.
    """
    match = CLOCK.fullmatch(cell.strip())
    if match is None:
        return math.nan
    minutes, seconds = match["m"] or match["m2"], match["s"] or match["s2"]
    since_midnight = (
        3600.0 * int(match["h"] or 0) + 60.0 * int(minutes) + float(seconds.replace(",", "."))
    )
    if match["iso"] is None:
        return since_midnight
    try:
        return date.fromisoformat(match["iso"]).toordinal() * SECONDS_A_DAY + since_midnight
    except ValueError:
        return math.nan


def written_step(cell: str, marks: Marks) -> float:
    """Size of the last written digit of a number or a clock time: 0.001 for "2.345"."""
    text = cell.strip()
    match = CLOCK.fullmatch(text)
    if match is not None:
        seconds = (match["s"] or match["s2"]).replace(",", ".")
        return 10.0 ** -len(seconds.partition(".")[2])
    if not is_number(text, marks):
        return 0.0
    mantissa, _, exponent = text.lower().partition("e")
    return 10.0 ** (int(exponent or 0) - len(mantissa.partition(marks.decimal)[2]))
