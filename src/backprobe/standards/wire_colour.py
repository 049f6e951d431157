"""Wire colours: the letters of IEC 60757 and their words."""

import difflib
import re
from typing import Final

from backprobe.errors import ValueOutOfRange

# IEC 60757, table 1, in its order.
WORDS: Final[dict[str, str]] = {
    "BK": "black",
    "BN": "brown",
    "RD": "red",
    "OG": "orange",
    "YE": "yellow",
    "GN": "green",
    "BU": "blue",
    "VT": "violet",
    "GY": "grey",
    "WH": "white",
    "PK": "pink",
    "GD": "gold",
    "TQ": "turquoise",
    "SR": "silver",
}
_GREEN_AND_YELLOW: Final = "GNYE"  # the protective conductor: one colour of its own
_LETTERS: Final[dict[str, str]] = {word: letters for letters, word in WORDS.items()} | {
    "gray": "GY",
    "purple": "VT",
}
_MOST_COLOURS: Final = 3  # wire, stripe and ring
_JOINING: Final = ("", "with", "and", "stripe", "tracer")
_SEPARATORS: Final = re.compile(r"[/\-+ ]+")


def colour_letters(text: str) -> tuple[str, ...]:
    """Split a wire's colour into the letters of its colours, the wire's own first.

    "YE/BK" and "YEBK" are a yellow wire with a black stripe; an empty text is no colour.

    Raises
    ------
    ValueOutOfRange
        A part isn't one of the standard's letters.
    """
    plain = text.strip().upper()
    if not plain:
        return ()
    if plain == _GREEN_AND_YELLOW:
        return (_GREEN_AND_YELLOW,)
    found: list[str] = []
    for part in _SEPARATORS.split(plain):
        pairs = [part[i : i + 2] for i in range(0, len(part), 2)]
        if not pairs or any(pair not in WORDS for pair in pairs):
            raise ValueOutOfRange(
                f'"{text[:40]}" isn\'t a wire colour in the letters of IEC 60757.',
                remedy=_remedy(plain),
            )
        found.extend(pairs)
    if len(found) > _MOST_COLOURS:
        raise ValueOutOfRange(
            f'"{text[:40]}" has {len(found)} colours; a wire has at most {_MOST_COLOURS}.',
            remedy='Write the wire\'s own colour first, then its stripe, such as "YE/BK".',
        )
    return tuple(found)


def colour_words(text: str) -> str:
    """Say a wire's colour in words: "yellow", "yellow with black", "green and yellow"."""
    letters = colour_letters(text)
    if letters == (_GREEN_AND_YELLOW,):
        return "green and yellow"
    return " with ".join(WORDS[pair] for pair in letters)


def colour_from_words(words: str) -> str:
    """Give the letters for "yellow", "yellow/black" or "yellow with black stripe".

    Raises
    ------
    ValueOutOfRange
        A word isn't one of the standard's colours.
    """
    letters = _find_words(words)
    if not letters:
        raise ValueOutOfRange(
            f'"{words[:40]}" isn\'t a wire colour.',
            remedy=f"Known are {', '.join(WORDS.values())}.",
        )
    return "/".join(letters)


def _find_words(words: str) -> tuple[str, ...]:
    """Give the letters for each word of colour; none where a word isn't one."""
    parts = [part for part in re.split(r"[^a-z]+", words.lower()) if part not in _JOINING]
    known = len(parts) <= _MOST_COLOURS and all(part in _LETTERS for part in parts)
    return tuple(_LETTERS[part] for part in parts) if known else ()


def _remedy(plain: str) -> str:
    spoken = _find_words(plain)
    if spoken:
        return f'Write "{"/".join(spoken)}".'
    known = ", ".join(f"{letters} {word}" for letters, word in WORDS.items())
    near = difflib.get_close_matches(plain[:2], WORDS, n=1, cutoff=0.5)
    hint = f"Nearest to it is {near[0]} ({WORDS[near[0]]}). " if near else ""
    return f'{hint}The letters are {known}; wire and stripe are joined as in "YE/BK".'
