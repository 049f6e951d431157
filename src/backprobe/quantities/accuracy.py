"""The accuracy statement of an instrument's data sheet, in all the ways in which makers write it.

A statement is a sum of limits: a share of the reading, a number of digits of the display, a share
of the range, a fixed amount. "0.5 % + 2 digits", "0,8% + 3", "1 % of reading + 5 counts", "27
mV", "0.002 % + 0.0005 % of range", "14 ppm of reading + 2 ppm of range". The limits bound the
error; what standard uncertainty follows from them is for the instrument model to say.
"""

from dataclasses import dataclass
from typing import Final

from backprobe.errors import QuantityError, ValueOutOfRange
from backprobe.quantities.reading import parse_quantity
from backprobe.quantities.spelling import LONGEST, SAME_SIGNS, shown_as

_EXAMPLE: Final = 'Write it as the data sheet does, such as "0.5 % + 2 digits" or "27 mV".'
_FROM_SHEET: Final = "Take the statement from the meter's data sheet, for the range that was used."

_PARTS: Final = {"%": 1e-2, "percent": 1e-2, "pct": 1e-2, "ppm": 1e-6}
_OF_READING: Final = frozenset(("", "reading", "rdg", "rdg.", "value", "indication"))
_OF_RANGE: Final = frozenset(("range", "full scale", "fullscale", "fs", "f.s", "f.s."))
_DIGITS: Final = frozenset(
    ("digit", "digits", "dgt", "dgts", "dgt.", "count", "counts", "ct", "cts", "lsd", "d")
)

MOST_SHARE: Final = 0.5
"""A statement of more than half of the reading is a slip: the worst hand-held ranges have 10 %."""

MOST_DIGITS: Final = 1000.0
"""More digits than this are a slip: the worst hand-held ranges have some tens."""


@dataclass(frozen=True, slots=True)
class AccuracyStatement:
    """Limits of error that a data sheet states, to be added up.

    Attributes
    ----------
    share : float
        Share of the reading: 0.005 for "0.5 %".
    digits : float
        Number of last digits of the display.
    absolute : float
        Fixed amount, in the plain unit of the quantity (V, ohm, Hz).
    share_of_range : float
        Share of the full scale of the range.
    """

    share: float = 0.0
    digits: float = 0.0
    absolute: float = 0.0
    share_of_range: float = 0.0

    def __post_init__(self) -> None:
        parts = (self.share, self.digits, self.absolute, self.share_of_range)
        if not all(0.0 <= part < float("inf") for part in parts) or not any(parts):
            raise ValueOutOfRange(
                f"Limits of {parts} (share, digits, absolute, share of range) are none.",
                where="accuracy statement",
                remedy=_FROM_SHEET,
            )
        if max(self.share, self.share_of_range) > MOST_SHARE or self.digits > MOST_DIGITS:
            raise ValueOutOfRange(
                f"{100 * max(self.share, self.share_of_range):g} % and {self.digits:g} digits "
                "are more than any meter may be off.",
                where="accuracy statement",
                remedy=_FROM_SHEET,
            )


def parse_accuracy(written: str, unit: str = "volt") -> AccuracyStatement:
    """Read the accuracy statement of a data sheet.

    Parameters
    ----------
    written : str
        The statement: terms joined by "+", in any order, each a share ("0.5 %", "0,5 % of reading",
        "2 ppm of range"), a number of digits ("2 digits", "5 counts", or a bare number after a
        share), or an amount with its unit ("27 mV"). A leading "±" and brackets are allowed.
    unit : str
        Plain unit of the quantity for which it holds, as in `parse_quantity`.

    Returns
    -------
    AccuracyStatement
        The limits, in the plain unit.

    Raises
    ------
    QuantityError
        A term cannot be read, has the unit of another quantity, or stands twice.
    ValueOutOfRange
        No limit at all, or one that no meter has.

    Notes
    -----
    A percentage without a word is of the reading, as hand-held meters' sheets mean it.
    """
    text = _without_frame(written)
    found: dict[str, float] = {}
    for term in text.split("+"):
        kind, amount = _read_term(term.strip(), written, unit, bare_digits="share" in found)
        if kind in found:
            raise QuantityError(
                f"{shown_as(written)} states its {kind.replace('_', ' ')} twice.",
                where="accuracy statement",
                remedy="Write each limit once; of several ranges take the one that was used.",
            )
        found[kind] = amount
    return AccuracyStatement(**found)


def _without_frame(written: str) -> str:
    """The statement without plus-minus sign, brackets and odd spaces."""
    if not written.strip() or len(written) > LONGEST:
        length = "empty" if not written.strip() else "too long"
        raise QuantityError(
            f"{shown_as(written)} is {length} for an accuracy statement.",
            where="accuracy statement",
            remedy=_EXAMPLE,
        )
    text = written.translate(SAME_SIGNS).replace("+/-", "±").replace("+-", "±")
    for frame in "()±":
        text = text.replace(frame, " ")
    return " ".join(text.split())


def _read_term(term: str, written: str, unit: str, *, bare_digits: bool) -> tuple[str, float]:
    number, words = _number_and_words(term)
    if number is not None:
        for part, factor in _PARTS.items():
            of = words.removeprefix(part).strip().removeprefix("of ").removeprefix("the ")
            if words.startswith(part) and of in _OF_READING:
                return "share", number * factor
            if words.startswith(part) and of in _OF_RANGE:
                return "share_of_range", number * factor
        if words in _DIGITS or (not words and bare_digits):
            return "digits", number
        if not words:
            raise QuantityError(
                f"{shown_as(written)} has the bare number {term}: digits, percent, or an amount?",
                where="accuracy statement",
                remedy=f'Write "{term} digits", "{term} %" or the amount with its unit.',
            )
    try:
        return "absolute", parse_quantity(term, unit).value
    except QuantityError as error:
        told = error.what if term and term != written.strip() else ""
        raise QuantityError(
            f"{shown_as(written)} isn't an accuracy statement that can be read. {told}".strip(),
            where="accuracy statement",
            remedy=_EXAMPLE,
        ) from error


def _number_and_words(term: str) -> tuple[float | None, str]:
    """The number in front, None if there is none that can be read, and the words behind it."""
    words = term.lstrip("0123456789.,")
    number = term[: len(term) - len(words)].replace(",", ".")
    plain = number.count(".") <= 1 and number[:1].isdigit() and number[-1:].isdigit()
    return (float(number) if plain else None), " ".join(words.lower().split())
