"""The accuracy statement of a meter's data sheet."""

import re
from dataclasses import dataclass
from typing import Final

from backprobe.errors import QuantityError
from backprobe.quantities.spelling import SAME_SIGNS, shown_as


@dataclass(frozen=True, slots=True)
class Accuracy:
    """A meter's accuracy statement: a share of the indication plus digits of the display.

    Parameters
    ----------
    relative : float
        Share of the indication (0.005 for "0.5 %").
    digits : float
        Number of last digits of the display.
    """

    relative: float
    digits: float


_ACCURACY: Final = re.compile(
    r"\(? ?(?:±|\+/-|\+-)? ?\(? ?"
    r"(?P<percent>[0-9]+(?:[.,][0-9]+)?) ?% ?(?:rdg|of reading|reading)?"
    r"(?: ?\+ ?(?P<digits>[0-9]+) ?(?:digits?|counts?|dgts?|lsd|d)?)? ?\)?",
    re.IGNORECASE,
)


def parse_accuracy(written: str) -> Accuracy:
    """Read an accuracy statement from a meter's data sheet, such as "0.5 % + 2 digits".

    Raises
    ------
    QuantityError
        The statement can't be read, or promises what no meter has.
    """
    match = _ACCURACY.fullmatch(" ".join(written.translate(SAME_SIGNS).split()))
    if match is None:
        raise QuantityError(
            f"{shown_as(written)} isn't an accuracy statement that can be read.",
            remedy='Write it like "0.5 % + 2 digits", as the meter\'s data sheet gives it.',
        )
    percent = float(match["percent"].replace(",", "."))
    digits = float(match["digits"] or 0)
    if percent > 50 or digits > 1000 or percent == digits == 0:
        raise QuantityError(
            f"{shown_as(written)} isn't an accuracy that a meter has.",
            remedy='Take it from the meter\'s data sheet, such as "0.5 % + 2 digits".',
        )
    return Accuracy(percent / 100, digits)
