"""What people's keyboards make of the same sign, and how a message quotes it."""

from typing import Final

LONGEST: Final = 60  # characters; the longest sensible reading is far shorter
# Signs that look different and mean the same: minus, micro, ohm, degree, hard and thin spaces.
SAME_SIGNS: Final = str.maketrans(
    {
        "−": "-",
        "–": "-",
        "µ": "u",
        "μ": "u",
        "\u2126": "Ω",
        "℃": "°C",
        "℉": "°F",
        "\u00a0": " ",
        "\u2009": " ",
        "\u202f": " ",
        "\t": " ",
    }
)


def shown_as(written: object) -> str:
    """Quote what was written, shortened if long, without what a terminal can't show."""
    if isinstance(written, bool):
        return "true" if written else "false"
    if isinstance(written, int) and abs(written) >= 10**18:
        return "a number of more than eighteen digits"
    text = f"{written:g}" if isinstance(written, float) else f"{written}"
    text = "".join(c if c.isprintable() else "?" for c in text)
    text = text if len(text) <= LONGEST else f"{text[: LONGEST - 4]} ..."
    return f'"{text}"' if isinstance(written, str) else text
