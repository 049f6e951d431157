"""The vehicle identification number: structure, check digit, model year.

ISO 3779 and ISO 3780 give the structure; 49 CFR 565 (tables III, IV, V and VII) the values of the
letters, the weights, the check digit and the year, which only North America (and China, for the
check digit) prescribes. Elsewhere position 9 may hold anything.
"""

from typing import Final, Literal

from backprobe.errors import ValueOutOfRange

LENGTH: Final = 17
FORBIDDEN: Final = "IOQ"  # too easily read as 1 and 0

# 49 CFR 565.15, table III.
_LETTER_VALUES: Final = dict(
    zip("ABCDEFGHJKLMNPRSTUVWXYZ", (*range(1, 9), 1, 2, 3, 4, 5, 7, 9, *range(2, 10)), strict=True)
)
_VALUES: Final[dict[str, int]] = {str(digit): digit for digit in range(10)} | _LETTER_VALUES
# 49 CFR 565.15, table IV; position 9 is the check digit itself.
_WEIGHTS: Final = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)
# 49 CFR 565.15, table VII: the letters and digits of 30 years, from 1980.
_YEARS: Final = "ABCDEFGHJKLMNPRSTVWXY123456789"

# First characters of the regions where the check digit is a duty: 1, 4, 5 United States, 2 Canada,
# 3 Mexico, L China (ISO 3780; from memory).
_CHECKED_REGIONS: Final = "12345L"

# First characters of the regions (ISO 3780; from memory). 7 was given to Oceania first and in part
# to North America later, so it names both.
_REGIONS: Final = (
    ("ABCDEFGH", "Africa"),
    ("JKLMNPR", "Asia"),
    ("STUVWXYZ", "Europe"),
    ("12345", "North America"),
    ("6", "Oceania"),
    ("7", "Oceania or North America"),
    ("890", "South America"),
)

CheckDigit = Literal["right", "wrong", "not applicable"]


def require_vin(text: str) -> str:
    """Return the number in capital letters without blanks, or say why it can't be one.

    Raises
    ------
    ValueOutOfRange
        Not seventeen letters and digits, or the letters I, O or Q among them.
    """
    vin = "".join(text.split()).upper()
    if len(vin) != LENGTH:
        raise ValueOutOfRange(
            f"A VIN has {LENGTH} characters, this one has {len(vin)}.",
            remedy="Read it again from the vehicle, or leave it out.",
        )
    for position, character in enumerate(vin, start=1):
        if character in FORBIDDEN:
            digit = "1" if character == "I" else "0"
            raise ValueOutOfRange(
                f"A VIN has no letter {character} (position {position}).",
                remedy=f"It is most likely the digit {digit}; read it again from the vehicle.",
            )
        if character not in _VALUES:
            raise ValueOutOfRange(
                f'A VIN has only letters and digits, not "{character}" (position {position}).',
                remedy="Read it again from the vehicle, or leave it out.",
            )
    return vin


def weighted_sum(vin: str) -> int:
    """Add up the characters' values times their weights; position 9 doesn't count."""
    return sum(_VALUES[character] * weight for character, weight in zip(vin, _WEIGHTS, strict=True))


def check_digit(vin: str) -> str:
    """Compute the character that belongs in position 9: a digit, or X for ten."""
    remainder = weighted_sum(vin) % 11
    return "X" if remainder == 10 else str(remainder)


def check_digit_verdict(vin: str) -> CheckDigit:
    """Tell whether position 9 is right; where no check digit is prescribed, it can't be wrong."""
    if vin[8] == check_digit(vin):
        return "right"
    return "wrong" if vin[0] in _CHECKED_REGIONS else "not applicable"


def model_years(vin: str, *, is_light: bool) -> tuple[int, ...]:
    """Give the model years that position 10 allows; none where it is no year code.

    In light vehicles (up to 4536 kg) of North America a digit in position 7 means the first thirty
    years, a letter the second thirty; otherwise both remain.
    """
    index = _YEARS.find(vin[9])
    if index < 0:
        return ()
    first, second = 1980 + index, 2010 + index
    if not is_light:
        return (first, second)
    return (first,) if vin[6].isdigit() else (second,)


def region(vin: str) -> str:
    """Name the part of the world that gave the number out; it says no more of the vehicle."""
    return next(name for characters, name in _REGIONS if vin[0] in characters)


def sections(vin: str) -> tuple[str, str, str]:
    """Split into maker (WMI, 1-3), description (VDS, 4-9) and the vehicle's own (VIS, 10-17)."""
    return vin[:3], vin[3:9], vin[9:]
