"""From a reading as it was written to a value in the plain unit."""

import math
import re
from dataclasses import dataclass
from typing import Final

from backprobe.errors import QuantityError
from backprobe.quantities.spelling import LONGEST, SAME_SIGNS, shown_as
from backprobe.quantities.unit import Unit, factor_of, like, unit_named

_OVER_RANGE: Final = re.compile(
    r"(?:[o0]\.?l\.?|\.ol|overload|over[ -]?range|ovld|ofl)\b\.?", re.IGNORECASE
)
_NOT_FINITE_REMEDY: Final = (
    'Write "OL" where the meter showed over range; '
    "leave the reading out where nothing was measured."
)
_NOT_FINITE: Final = re.compile(r"[+-]?(nan|inf|infinity|∞)\b", re.IGNORECASE)
_INFIX: Final = re.compile(r"([0-9]+)([RkKM])([0-9]+) ?(?:ohms?|Ω)?", re.IGNORECASE)
_NUMBER: Final = re.compile(
    r"(?P<sign>[+-]?) ?"
    r"(?P<number>[0-9]{1,3}(?: [0-9]{3})+(?:[.,][0-9]+)?|[0-9]+[.,]?[0-9]*|[.,][0-9]+)"
    r"(?P<exponent>[eE][+-]?[0-9]+)?"
    r"(?P<rest>.*)"
)
_LIMITS: Final = re.compile(r"\+ ?/ ?-|\+-|±")
_PER_CENT: Final = re.compile(r"(?P<number>[0-9]+(?:[.,][0-9]+)?) ?(?:%|per ?cent)", re.IGNORECASE)
_TWO_WAYS: Final = re.compile(r"[+-]? ?[0-9]+(?:[.,][0-9]+){2,}.*")


@dataclass(frozen=True, slots=True)
class Quantity:
    """A value as it was written.

    Parameters
    ----------
    value : float
        In the plain unit; ``inf`` when over range.
    digits : int or None
        Decimals in the written text; None for a bare number, which says nothing about digits.
    over_range : bool
        The meter showed that the value lies beyond its range.
    scale : float
        Size of the written unit in the plain unit (0.001 for "12 mV").
    limits : float or None
        What was written behind a plus-minus sign, in the plain unit, > 0: the value surely lies
        within so much on either side.
    """

    value: float
    digits: int | None = None
    over_range: bool = False
    scale: float = 1.0
    limits: float | None = None

    @property
    def digit_size(self) -> float | None:
        """Size of the last written digit in the plain unit; None where no digits are known."""
        return None if self.digits is None else self.scale * 10.0**-self.digits


def parse_quantity(written: str | float, unit: str) -> Quantity:
    """Read a value as people write it.

    Parameters
    ----------
    written : str, int or float
        "12 mV", "2,41 V", "4k7", "OL", "2.41 V ± 70 mV", or a number in the plain unit.
    unit : str
        The plain unit: volt, ohm, hertz, ampere, percent, celsius, gram per second, kilopascal
        or rpm; its usual symbol will do.

    Returns
    -------
    Quantity
        Value in the plain unit, with what is known of its digits.

    Raises
    ------
    QuantityError
        The text can't be read, can be read in two ways, has another unit, isn't finite, or is of
        a size that can't be.
    """
    kind = unit_named(unit)
    if isinstance(written, bool) or not isinstance(written, (str, int, float)):
        raise QuantityError(f"{shown_as(written)} isn't a {kind.noun}.", remedy=like(kind))
    if isinstance(written, str):
        return _parse_text(written, kind)
    try:
        value = float(written)
    except OverflowError:
        value = math.inf
    return Quantity(_require_possible(value, kind, shown_as(written)))


def states_limits(written: str) -> bool:
    """Whether a text says how far its value may be off: "2.41 V ± 70 mV"."""
    return _LIMITS.search(written) is not None


def _parse_text(written: str, kind: Unit) -> Quantity:
    shown = shown_as(written)
    text = written.translate(SAME_SIGNS).strip()
    if not text:
        raise QuantityError(
            f"An empty text isn't a {kind.noun}.",
            remedy="Leave the reading out where nothing was measured.",
        )
    if len(text) > LONGEST:
        raise QuantityError(f"{shown} is too long for a {kind.noun}.", remedy=like(kind))
    head, *limits = _LIMITS.split(text, maxsplit=1)
    if limits and head.strip():
        return _with_limits(head.strip(), limits[0].strip(), kind, shown)
    over = _OVER_RANGE.match(text)
    if over and (over.end() == len(text) or factor_of(text[over.end() :].strip(), kind)):
        return Quantity(math.inf, over_range=True)
    infix = _INFIX.fullmatch(text) if kind.symbol == "ohm" else None
    if infix:
        whole, letter, decimals = infix.groups()
        scale = {"R": 1.0, "k": 1e3, "M": 1e6}["R" if letter in "rR" else letter.replace("K", "k")]
        value = float(f"{whole}.{decimals}") * scale
        return Quantity(_require_possible(value, kind, shown), len(decimals), scale=scale)
    return _parse_number(text, kind, shown)


def _with_limits(head: str, tail: str, kind: Unit, shown: str) -> Quantity:
    """Read "2.41 V ± 70 mV" or "2.41 V ± 3 %": a value and how far it may be off."""
    value = _parse_text(head, kind)
    share = _PER_CENT.fullmatch(tail)
    if share and kind.symbol != "%":
        limits = float(share["number"].replace(",", ".")) / 100.0 * abs(value.value)
    else:
        # The amount is a difference: a unit with an offset (degrees) keeps only its size.
        written = _NUMBER.fullmatch(tail)
        bare = written is not None and not written["rest"].strip()
        try:
            amount = _parse_text(tail, kind)
            zero = _parse_text(re.sub(r"[0-9]+", "0", tail), kind).value
        except QuantityError:
            amount, zero = Quantity(math.nan), 0.0
        limits = (amount.value - zero) * (value.scale if bare else 1.0)
    if value.over_range or not 0.0 < limits < math.inf:
        raise QuantityError(
            f"{shown} can't be read: behind the plus-minus sign stands no amount.",
            remedy='Write how far it may be off, such as "2.41 V ± 70 mV" or "2.41 V ± 3 %".',
        )
    return Quantity(value.value, value.digits, scale=value.scale, limits=limits)


def _parse_number(text: str, kind: Unit, shown: str) -> Quantity:
    match = _NUMBER.fullmatch(text)
    if _NOT_FINITE.match(text):
        raise QuantityError(f"{shown} isn't a {kind.noun}.", remedy=_NOT_FINITE_REMEDY)
    if match is None:
        raise QuantityError(f"{shown} isn't a {kind.noun} that can be read.", remedy=like(kind))
    if _TWO_WAYS.fullmatch(text):
        raise _ask(shown)
    factor = factor_of(match["rest"].strip(), kind)
    if factor is None:
        raise QuantityError(
            f"{shown} can't be read: \"{match['rest'].strip()}\" isn't a unit of {kind.noun}.",
            remedy=like(kind),
        )
    scale, offset = factor
    number = match["number"].replace(" ", "")
    plain = float(number.replace(",", ".") + (match["exponent"] or ""))
    if _is_perhaps_thousands(number) and kind.low <= plain * 1000 * scale + offset <= kind.high:
        raise _ask(shown)
    value = (-plain if match["sign"] == "-" else plain) * scale + offset
    decimals = len(number.replace(",", ".").partition(".")[2])
    return Quantity(
        _require_possible(value, kind, shown),
        digits=None if match["exponent"] else decimals,
        scale=scale,
    )


def _is_perhaps_thousands(number: str) -> bool:
    """Tell whether a comma may part thousands: "2,210", but not "0,412", "2,41" or "12,3456"."""
    return re.fullmatch(r"[1-9][0-9]{0,2},[0-9]{3}", number) is not None


def _require_possible(value: float, kind: Unit, shown: str) -> float:
    if not math.isfinite(value):
        raise QuantityError(f"{shown} isn't a {kind.noun}.", remedy=_NOT_FINITE_REMEDY)
    if kind.low <= value <= kind.high:
        return value + 0.0  # a negative zero becomes zero
    if value < kind.low and kind.below:
        raise QuantityError(f"{shown} can't be a {kind.noun}.", remedy=kind.below)
    limit, side = (kind.high, "above") if value > kind.high else (kind.low, "below")
    raise QuantityError(
        f"{shown} is {side} {limit:g} {kind.symbol}, which no reading at a connector can be.",
        remedy=f"Check the number and its unit. {like(kind)}",
    )


def _ask(shown: str) -> QuantityError:
    return QuantityError(
        f"{shown} can be read in two ways.",
        remedy=(
            "Write it with a point for the decimals and nothing between the thousands,"
            ' such as "1234.5" or "1.2345".'
        ),
    )
