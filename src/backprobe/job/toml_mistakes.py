"""What is wrong with a text that the standard TOML reader refuses, in the words of the trade.

The reader's own message names a grammar; people typing at a vehicle make a handful of mistakes,
each recognised here by the look of the line.
"""

import re
from typing import Final

from backprobe.errors import JobFileError

_PLACE: Final = re.compile(r"line (\d+), column (\d+)")
_NUMBER: Final = r"[+-]?[0-9]+(?:\.[0-9]+)?"
_TWICE: Final = re.compile(r"overwrite|twice|[Dd]uplicate|immutable|already")
_TEXT: Final = re.compile(r'"(?:[^"\\]|\\.)*"|\'[^\']*\'')
_REPEATED: Final = ("code", "connector.terminal", "round")
_SHOWN: Final = 60
_LOOKED_AT: Final = 2000  # characters of a line; no line that people type is longer

# In this order: look of the line (without texts in quotes and remarks), what is wrong, remedy.
_MISTAKES: Final = (
    (
        re.compile("[“”„‟‘’«»]"),
        "Typographic quotes can't be read.",
        'Use straight quotes: "text".',
    ),
    (
        re.compile(r"=\s*(?:[0-9]+-[0-9]+-[0-9]+|[0-9]+[./][0-9]+[./][0-9]+)"),
        "A date is written year, month, day, the last two with two digits.",
        "Write it like 2026-03-02.",
    ),
    (
        re.compile(rf"=\s*{_NUMBER},[0-9]+\s*(?:[,}}\]]|$)"),
        "A decimal comma can't stand in a bare number.",
        'Write a point, 2.41, or put the reading in quotes, "2,41 V".',
    ),
    (
        re.compile(rf"=\s*{_NUMBER}\s*(?:[kKMR][0-9]+|[A-Za-zΩ°%µ]+(?:/[a-z]+)?)\s*(?:[,}}\]]|$)"),
        "A value with a unit has to stand in quotes.",
        'Write it as "12 mV" or "2.2 kohm".',
    ),
    (
        re.compile(r"=\s*(?:[,}\]]|$)"),
        "There is no value behind the equals sign.",
        "Fill it in, or put # before the key to leave it out.",
    ),
    (
        re.compile(r"=\s*(?:True|TRUE|False|FALSE|yes|no|Yes|No)\b"),
        "Yes and no are written true and false.",
        "Write true or false in small letters.",
    ),
    (
        re.compile(r"=\s*(?!(?:true|false|inf|nan)\b)[^\W\d_]"),
        "A text has to stand in quotes.",
        'Write it as "text"; what a meter shows over range as "OL".',
    ),
    (
        re.compile(r"=\s*[+-]?(?:0[0-9]+|\.[0-9]+|[0-9]+\.(?![0-9]))"),
        "A number can't start with a needless zero or a point, nor end with a point.",
        "Write 0.5, 5.0 or 750.",
    ),
    (
        re.compile(r"^\s*\[(?:[^\]]*|\[[^\]]*\]?)$"),
        "The bracket of this heading isn't closed.",
        "Write [job] or, where there can be several, [[round]].",
    ),
    (
        re.compile(r"^[^{]*\{[^}]*$"),
        "A list of readings in braces has to start and end on the same line.",
        "Put all of it on one line: volts = { 1 = 5.01, 2 = 4.99 }.",
    ),
    (
        re.compile(r"=\s*\[[^\]]*$"),
        "A list in square brackets isn't closed.",
        "End it with ].",
    ),
    (
        re.compile(r";\s*$"),
        "There is a semicolon at the end.",
        "Take it out.",
    ),
    (
        re.compile(r"\{[^}]*,\s*\}"),
        "There is a comma behind the last reading.",
        "Take it out.",
    ),
    (
        re.compile(rf"=\s*(?:{_NUMBER}|~)\s+[\w-]+\s*="),
        "Two readings have to be parted by a comma.",
        "Write { 1 = 5.01, 2 = 4.99 }.",
    ),
    (
        re.compile(r"^\s*[\w.-]+\s*:"),
        "Key and value are joined with an equals sign.",
        'Write title = "Hesitates when cold".',
    ),
    (
        re.compile(r"^[^=\[]*$"),
        "This line has no equals sign.",
        "Write key = value, or put # before a remark.",
    ),
)


def explain_toml_error(error: ValueError, text: str, file_name: str) -> JobFileError:
    """Turn what the standard reader says into what is wrong, the line, and the remedy."""
    lines = text.split("\n")
    number = _line_number(error, lines)
    line = lines[number - 1][:_LOOKED_AT]
    what, remedy = _recognise(str(error), line)
    shown = "".join(c if c.isprintable() else " " for c in line).strip()
    shown = shown if len(shown) <= _SHOWN else f"{shown[:_SHOWN]} ..."
    quoted = f" (The line: {shown})" if shown else ""
    return JobFileError(what, where=f"{file_name}, line {number}", remedy=f"{remedy}{quoted}")


def _line_number(error: ValueError, lines: list[str]) -> int:
    match = _PLACE.search(str(error))
    if match:
        return min(max(int(match[1]), 1), len(lines))
    # "at end of document": the last line that holds anything.
    return max((i for i, line in enumerate(lines, start=1) if line.strip()), default=1)


def _recognise(message: str, line: str) -> tuple[str, str]:
    if _TWICE.search(message):
        return _given_twice(line)
    if "\\" in line and ("scape" in message or "\\" in message):
        return (
            "A backslash in a text starts a code.",
            "Write it twice, or use a slash instead.",
        )
    if "digits" in message:
        return "A number is far too long.", "Write the reading as the meter shows it."
    bare = _without_texts(line)
    if bare is None or "Unterminated" in message or "'''" in message or '"""' in message:
        return "A quote is missing: a text isn't closed.", 'Start and end each text with ".'
    for look, what, remedy in _MISTAKES:
        if look.search(bare):
            return what, remedy
    return (
        "This can't be read.",
        'A line is a heading like [job], or a key and its value: title = "Hesitates when cold".',
    )


def _given_twice(line: str) -> tuple[str, str]:
    heading = re.match(r"\s*\[+\s*([\w.-]+)", line)
    if heading is None:
        return (
            "A key or a pin is given twice.",
            "Keep one of the two, or give the other its own pin.",
        )
    name = heading[1]
    if name in _REPEATED:
        return (
            f"[{name}] stands here a second time.",
            f"There can be several: write [[{name}]] with two brackets each time.",
        )
    return f"[{name}] stands here a second time.", "Put its keys together below one heading."


def _without_texts(line: str) -> str | None:
    """Put ~ for each text and leave out a remark; None where a text has no end."""
    bare: list[str] = []
    at = 0
    while at < len(line) and line[at] != "#":
        if line[at] in "\"'":
            text = _TEXT.match(line, at)
            if text is None:
                return None
            bare.append("~")
            at = text.end()
        else:
            bare.append(line[at])
            at += 1
    return "".join(bare).rstrip()
