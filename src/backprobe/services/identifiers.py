"""What a vehicle's number and a trouble code say by themselves, in words.

Only what the published standards lay down: no maker's name, no part's verdict.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from backprobe.standards.trouble_code import (
    FAILURE_TYPE_MEANING,
    SYSTEM_MEANING,
    Responsibility,
    failure_type,
    failure_type_group,
    powertrain_group,
    require_code,
    responsibility,
)
from backprobe.standards.vin import (
    CheckDigit,
    check_digit,
    check_digit_verdict,
    model_years,
    region,
    require_vin,
    sections,
)

NO_PART: Final = "A code is a statement about a circuit, not about a part."
FROM_MEMORY: Final = "after SAE J2012, from memory"
_DEFINED_BY: Final[dict[Responsibility, str]] = {
    "standard": "its meaning is the standard's own, alike on every vehicle",
    "maker": "its meaning is the vehicle maker's own: look it up for this vehicle",
    "standard in part": (
        "its meaning is the standard's or the vehicle maker's own: look it up for this vehicle"
    ),
}
# How such a code is worded does not say which end is at fault (common practice, no source).
_CIRCUIT_HINT: Final = (
    "Wire, contact, supply, ground, sensor and control unit can all make it; the readings tell "
    "which."
)


@dataclass(frozen=True, slots=True)
class VinFacts:
    """What a vehicle identification number says by its structure.

    maker, description, own : sections 1-3 (WMI), 4-9 (VDS) and 10-17 (VIS).
    """

    vin: str
    maker: str
    description: str
    own: str
    region: str
    check_digit: CheckDigit
    check_digit_words: str
    model_years: tuple[int, ...]
    model_year_words: str


def vin_facts(vin: str, *, latest_year: int | None = None) -> VinFacts:
    """Read a vehicle identification number.

    Parameters
    ----------
    vin : str
        As it was written; blanks and small letters are put right.
    latest_year : int or None
        Model years after it are left out, since no such vehicle can stand here yet.

    Raises
    ------
    ValueOutOfRange
        The text can't be such a number.
    """
    number = require_vin(vin)
    years = model_years(number, is_light=False)
    possible = tuple(y for y in years if latest_year is None or y <= latest_year)
    verdict = check_digit_verdict(number)
    return VinFacts(
        number,
        *sections(number),
        region=region(number),
        check_digit=verdict,
        check_digit_words=_check_words(number, verdict),
        model_years=possible,
        model_year_words=_year_words(number, possible),
    )


def _check_words(vin: str, verdict: CheckDigit) -> str:
    if verdict == "right":
        return f"Check digit right: position 9 is {vin[8]}, as the others demand."
    if verdict == "wrong":
        return (
            f"Check digit wrong: position 9 is {vin[8]} and should be {check_digit(vin)}. One "
            f"character was misread, most likely; read the number again from the vehicle."
        )
    return "No check digit is prescribed for this region; position 9 may hold anything."


def _year_words(vin: str, years: tuple[int, ...]) -> str:
    if not years:
        return f"Position 10 is {vin[9]}, which is no model year here."
    said = f"Model year {' or '.join(str(y) for y in years)} by position 10 ({vin[9]})"
    if region(vin) == "North America":
        light = model_years(vin, is_light=True)[0]
        if len(years) > 1:
            return f"{said}; {light} for a light vehicle, by position 7 ({vin[6]})."
        return f"{said}."
    return f"{said}, where the maker follows that custom: it isn't prescribed for this region."


@dataclass(frozen=True, slots=True)
class CodeFacts:
    """What a trouble code says by its structure.

    group : what a standard powertrain code is about; empty where the standard does not tell.
    failure_type : what the byte after the dash says; empty where there is none.
    """

    code: str
    system: str
    defined_by: Responsibility
    defined_by_words: str
    group: str
    failure_type: str
    words: str


def code_facts(code: str) -> CodeFacts:
    """Read a trouble code.

    Raises
    ------
    ValueOutOfRange
        The text can't be a code.
    """
    plain = require_code(code)
    system, defined_by = SYSTEM_MEANING[plain[0]], responsibility(plain)
    group = powertrain_group(plain) if defined_by == "standard" else ""
    failed = _failure_type_words(plain)
    defined_words = _DEFINED_BY[defined_by]
    sentences = [f"{plain}: {system}; {defined_words}."]
    if group:
        sentences.append(f"Group: {group} ({FROM_MEMORY}).")
    if failed:
        sentences.append(f"Failure type: {failed} ({FROM_MEMORY}).")
    sentences += [NO_PART, _CIRCUIT_HINT]
    return CodeFacts(plain, system, defined_by, defined_words, group, failed, " ".join(sentences))


def _failure_type_words(code: str) -> str:
    byte = failure_type(code)
    if byte is None:
        return ""
    if byte in FAILURE_TYPE_MEANING:
        return FAILURE_TYPE_MEANING[byte]
    group = failure_type_group(byte)
    return f"{byte:02X}, of the group: {group}" if group else f"{byte:02X}, not defined"
