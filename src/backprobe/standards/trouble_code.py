"""Trouble codes: text and two bytes, and who defines them (SAE J2012, ISO 15031-6)."""

import re
from typing import Final, Literal

from backprobe.errors import ValueOutOfRange

_SYSTEMS: Final = "PCBU"  # bits 15-14: powertrain, chassis, body, network
_PATTERN: Final = re.compile(r"[PCBU][0-3][0-9A-F]{3}(?:-[0-9A-F]{2})?")

SYSTEM_MEANING: Final[dict[str, str]] = {
    "P": "powertrain",
    "C": "chassis",
    "B": "body",
    "U": "network",
}
# SAE J2012, the groups of the standard's own powertrain codes by their third character (quoted in
# makers' texts for P00 to P07; the others from memory).
_POWERTRAIN_GROUPS: Final[dict[str, str]] = {
    "P00": "fuel and air metering, auxiliary emission controls",
    "P01": "fuel and air metering",
    "P02": "fuel and air metering, injectors",
    "P03": "ignition or misfire",
    "P04": "auxiliary emission controls",
    "P05": "vehicle speed, idle control, auxiliary inputs",
    "P06": "control unit and its outputs",
    "P07": "transmission",
    "P08": "transmission",
    "P09": "transmission",
    "P0A": "hybrid or electric drive",
    "P0B": "hybrid or electric drive",
    "P0C": "hybrid or electric drive",
    "P20": "fuel and air metering, auxiliary emission controls",
    "P21": "fuel and air metering, auxiliary emission controls",
    "P22": "fuel and air metering, auxiliary emission controls",
    "P23": "ignition or misfire",
    "P24": "auxiliary emission controls",
    "P25": "auxiliary inputs",
    "P26": "control unit and its outputs",
    "P27": "transmission",
    "P2A": "fuel and air metering, auxiliary emission controls",
    "P34": "cylinders that are shut off",
}
# SAE J2012-DA, failure type bytes: the groups by their first digit, and the electrical group's own
# meanings with a few others (from memory).
_FAILURE_TYPE_GROUPS: Final = (
    "general",
    "electrical",
    "signal",
    "frequency or pulse width",
    "inside the control unit",
    "programming of the control unit",
    "algorithm",
    "mechanical",
    "messages on the network",
    "component",
)
FAILURE_TYPE_MEANING: Final[dict[int, str]] = {
    0x11: "circuit short to ground",
    0x12: "circuit short to battery",
    0x13: "circuit open",
    0x14: "circuit short to ground or open",
    0x15: "circuit short to battery or open",
    0x16: "circuit voltage below threshold",
    0x17: "circuit voltage above threshold",
    0x18: "circuit current below threshold",
    0x19: "circuit current above threshold",
    0x1A: "circuit resistance below threshold",
    0x1B: "circuit resistance above threshold",
    0x1C: "circuit voltage out of range",
    0x1D: "circuit current out of range",
    0x1E: "circuit resistance out of range",
    0x1F: "circuit intermittent",
    0x64: "signal implausible",
}

Responsibility = Literal["standard", "maker", "standard in part"]


def require_code(text: str) -> str:
    """Return the code in capital letters, or say why it can't be one.

    Raises
    ------
    ValueOutOfRange
        The text isn't a trouble code.
    """
    code = text.strip().upper()
    if not _PATTERN.fullmatch(code):
        raise ValueOutOfRange(
            f'"{text[:40]}" isn\'t a trouble code.',
            remedy=(
                "A code is a letter P, C, B or U, a digit from 0 to 3 and three digits or letters"
                ' up to F, such as "P0113".'
            ),
        )
    if code_to_bytes(code) == (0, 0):
        raise ValueOutOfRange(
            f"{code} isn't a trouble code: two zero bytes only fill up an answer.",
            remedy="Leave it out.",
        )
    return code


def code_to_bytes(code: str) -> tuple[int, int]:
    """Give the two bytes that a control unit sends for a code (a failure type isn't in them)."""
    high = _SYSTEMS.index(code[0]) << 6 | int(code[1]) << 4 | int(code[2], 16)
    return high, int(code[3:5], 16)


def code_from_bytes(high: int, low: int) -> str:
    """Give the code for the two bytes that a control unit sends."""
    return f"{_SYSTEMS[high >> 6]}{high >> 4 & 3}{high & 15:X}{low:02X}"


def failure_type(code: str) -> int | None:
    """Give the failure type byte after the dash ("P0113-13"), None where there is none."""
    return int(code[6:], 16) if len(code) == 8 else None


def responsibility(code: str) -> Responsibility:
    """Tell who defines a code's meaning: the standard or the vehicle's maker.

    SAE J2012, the table of code groups (from memory): the third group is divided for P
    (P30 to P33 maker, P34 to P39 standard) and only in part given to the standard elsewhere.
    """
    group = code[:2]
    if group in ("P0", "P2", "C0", "B0", "U0"):
        return "standard"
    if group == "P3":
        return "standard" if code[2] in "456789" else "maker"
    return "standard in part" if code[1] == "3" else "maker"


def powertrain_group(code: str) -> str:
    """Name what the third character of a standard powertrain code is about; empty where unknown."""
    return _POWERTRAIN_GROUPS.get(code[:3], "")


def failure_type_group(byte: int) -> str:
    """Name what a failure type byte is about by its first digit; empty where that is reserved."""
    number = byte >> 4
    return _FAILURE_TYPE_GROUPS[number] if number < len(_FAILURE_TYPE_GROUPS) else ""
