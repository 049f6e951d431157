"""Names and units as they stand above the columns of a table: "Time (ms)", "CH1 [mV]", "I/mA"."""

import re
from dataclasses import dataclass
from typing import Final

_SAME: Final = str.maketrans({"µ": "u", "μ": "u", "\u2126": "Ω", "\u00a0": " ", "\u202f": " "})
# SI prefixes [si2019], table 7.
_PREFIXES: Final = {
    "p": 1e-12,
    "n": 1e-9,
    "u": 1e-6,
    "m": 1e-3,
    "": 1.0,
    "k": 1e3,
    "M": 1e6,
    "G": 1e9,
}
_BASES: Final = {
    "V": "V",
    "volt": "V",
    "volts": "V",
    "A": "A",
    "amp": "A",
    "amps": "A",
    "ampere": "A",
    "Ω": "ohm",
    "ohm": "ohm",
    "ohms": "ohm",
    "Ohm": "ohm",
    "Ohms": "ohm",
    "Hz": "Hz",
    "hertz": "Hz",
    "s": "s",
    "sec": "s",
    "second": "s",
    "seconds": "s",
    "W": "W",
    "Pa": "Pa",
    "bar": "bar",
    "S/s": "Hz",
    "Sa/s": "Hz",
    "samples/s": "Hz",
}
_WHOLE: Final = {
    "Volt": ("V", 1.0),
    "Volts": ("V", 1.0),
    "millivolts": ("V", 1e-3),
    "Seconds": ("s", 1.0),
    "Second": ("s", 1.0),
    "milliseconds": ("s", 1e-3),
    "microseconds": ("s", 1e-6),
    "nanoseconds": ("s", 1e-9),
    "msec": ("s", 1e-3),
    "usec": ("s", 1e-6),
    "min": ("s", 60.0),
    "h": ("s", 3600.0),
    "%": ("%", 1.0),
    "°C": ("degC", 1.0),
    "degC": ("degC", 1.0),
    "rpm": ("1/min", 1.0),
    "1/min": ("1/min", 1.0),
    "g/s": ("g/s", 1.0),
    "°": ("deg", 1.0),
    "deg": ("deg", 1.0),
    "samples/second": ("Hz", 1.0),
}
_BRACKETS: Final = re.compile(r"(?P<name>.*?)\s*(?:\((?P<a>[^()]*)\)|\[(?P<b>[^\[\]]*)\])\s*")
_SLASH: Final = re.compile(r"(?P<name>[^/]+?)\s*/\s*(?P<unit>[^/]+(?:/[^/]+)?)\s*")
_COMMA_OR_IN: Final = re.compile(r"(?P<name>.+?)(?:,\s*|\s+in\s+)(?P<unit>\S+)\s*")
_JOINED: Final = re.compile(r"(?P<name>.+?)[ _](?P<unit>\S{1,12})")
# A lone letter behind a name is rather the name of a channel: "Channel A", "phase V".
_LONE_LETTERS: Final = frozenset("AWhS°")
_LETTERED: Final = frozenset(("channel", "ch", "phase", "input", "line", "cylinder", "signal"))


@dataclass(frozen=True, slots=True)
class Heading:
    """What stands above a column.

    Parameters
    ----------
    name : str
        Without the unit.
    unit : str
        Without prefix: "V", "A", "s"; as written where it isn't known; "" where there is none.
    scale : float
        Size of the written unit in ``unit``: 0.001 for "mV".
    """

    name: str
    unit: str = ""
    scale: float = 1.0


def known_unit(written: str) -> tuple[str, float] | None:
    """Give the unit without prefix and the size of the written one; None where it isn't known."""
    text = written.translate(_SAME).strip()
    if text in _WHOLE:
        return _WHOLE[text]
    for length in (1, 0):
        scale = _PREFIXES.get(text[:length])
        base = _BASES.get(text[length:])
        if scale is not None and base is not None:
            return base, scale
    return None


def unit_of(written: str) -> tuple[str, float]:
    """Give the unit without prefix, or the text itself where it isn't known."""
    text = written.strip().strip("()[]").strip()
    return known_unit(text) or (text, 1.0)


def parse_heading(written: str) -> Heading:
    """Part a heading into name and unit."""
    text = " ".join(written.split())
    whole = known_unit(text)
    if whole is not None and (text == "V" or len(text) > 1):
        return Heading(text, *whole)
    bracketed = _BRACKETS.fullmatch(text)
    if bracketed is not None:
        inner = (bracketed["a"] if bracketed["a"] is not None else bracketed["b"]).strip()
        # Brackets may also hold a remark: "CH1 (left)". A unit is known, or short and letters.
        if known_unit(inner) is not None or re.fullmatch(r"[^\d\s]{1,6}", inner):
            return Heading(bracketed["name"], *unit_of(inner))
        return Heading(text)
    for look in (_SLASH, _COMMA_OR_IN, _JOINED):
        match = look.fullmatch(text)
        known = None if match is None else known_unit(match["unit"])
        if match is None or known is None:
            continue
        if look is _JOINED and _is_lettered(match["name"], match["unit"]):
            continue
        return Heading(match["name"], *known)
    return Heading(text)


def _is_lettered(name: str, letter: str) -> bool:
    """Tell whether a lone letter belongs to the name before it."""
    return letter in _LONE_LETTERS or (letter == "V" and name.lower() in _LETTERED)


def is_unit_cell(written: str) -> bool:
    """Tell whether a cell of a row below the headings holds a unit and nothing else."""
    text = written.strip()
    bracketed = re.fullmatch(r"\(([^()]*)\)|\[([^\[\]]*)\]", text)
    if bracketed is None:
        return known_unit(text) is not None
    inner = (bracketed[1] or bracketed[2] or "").strip()
    return known_unit(inner) is not None or re.fullmatch(r"[^\d\s]{0,8}", inner) is not None
