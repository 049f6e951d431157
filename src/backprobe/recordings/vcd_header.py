"""Head of a value change dump [ieee1364], 18.2.3: time scale, scopes, variables."""

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Final

from backprobe.errors import RecordingError

_UNITS: Final = {"s": 0, "ms": 3, "us": 6, "ns": 9, "ps": 12, "fs": 15}
_REALS: Final = frozenset(("real", "realtime", "shortreal"))
_WIDEST_SINGLE: Final = 24  # bits that float32 holds exactly
_WIDEST_DOUBLE: Final = 53
MOST_VARIABLES: Final = 256


@dataclass(frozen=True, slots=True)
class VcdVariable:
    """A variable of the dump.

    Parameters
    ----------
    code : str
        Identifier that its changes carry; several variables may share one.
    name : str
        With the scopes that it stands in: "top.bus[7:0]".
    n_bit : int
        Width; 64 for a real one.
    is_real : bool
        Whether its values are decimal numbers.
    """

    code: str
    name: str
    n_bit: int
    is_real: bool

    @property
    def is_double(self) -> bool:
        """Whether its values need float64."""
        return self.is_real or self.n_bit > _WIDEST_SINGLE


@dataclass
class VcdHead:
    """What the head tells.

    Parameters
    ----------
    ticks_per_second : float
        From $timescale; 0 until it was met.
    variables : list of VcdVariable
        In the order of the file.
    remarks : list of str
        What was left out.
    """

    ticks_per_second: float = 0.0
    variables: list[VcdVariable] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)


def read_vcd_head(words: Iterator[str], file_name: str) -> VcdHead:
    """Take the words of the head, up to the end of the definitions.

    Raises
    ------
    RecordingError
        The head is cut short, has no variable, or isn't one.
    """
    head = VcdHead()
    scopes: list[str] = []
    n_left_out = 0
    for word in words:
        if not word.startswith("$"):
            raise _error(f'"{word[:40]}" stands where a keyword belongs.', file_name)
        body = _until_end(words, file_name)
        if word == "$enddefinitions":
            break
        if word == "$timescale":
            head.ticks_per_second = _ticks_per_second("".join(body), file_name)
        elif word == "$scope":
            scopes.append(body[1] if len(body) > 1 else "")
        elif word == "$upscope" and scopes:
            scopes.pop()
        elif word == "$var":
            variable = _variable(body, scopes, file_name)
            if variable is None or len(head.variables) == MOST_VARIABLES:
                n_left_out += 1
            else:
                head.variables.append(variable)
    else:
        raise _error("The file is cut short before its first value.", file_name)
    if not head.variables:
        raise _error("There are no variables in this dump.", file_name)
    _finish(head, n_left_out)
    return head


def _finish(head: VcdHead, n_left_out: int) -> None:
    if head.ticks_per_second == 0.0:
        head.ticks_per_second = 1.0
        head.remarks.append("The dump has no time scale; its times are taken as seconds.")
    if n_left_out:
        head.remarks.append(
            f"{n_left_out} variables are left out: events, texts,"
            f" or more than {MOST_VARIABLES} in all."
        )
    wide = [v.name for v in head.variables if v.n_bit > _WIDEST_DOUBLE and not v.is_real]
    if wide:
        head.remarks.append(f"{wide[0]} is so wide that its values are rounded to 53 bits.")


def _until_end(words: Iterator[str], file_name: str) -> list[str]:
    body: list[str] = []
    for word in words:
        if word == "$end":
            return body
        body.append(word)
    raise _error("The file is cut short before its first value.", file_name)


def _ticks_per_second(written: str, file_name: str) -> float:
    match = re.fullmatch(r"(1|10|100)(s|ms|us|ns|ps|fs)", written)
    if match is None:
        raise _error(f'"{written[:40]}" isn\'t a time scale.', file_name)
    return float(10 ** (_UNITS[match[2]]) / int(match[1]))


def _variable(body: list[str], scopes: list[str], file_name: str) -> VcdVariable | None:
    """A variable; None for a kind without numbers."""
    if len(body) < 4 or not body[1].isdecimal() or len(body[1]) > 6:
        raise _error(f"$var {' '.join(body)[:40]} isn't a variable.", file_name)
    kind, size, code = body[:3]
    if kind in ("event", "string"):
        return None
    name = ".".join([*scopes, "".join(body[3:])])
    is_real = kind in _REALS
    return VcdVariable(code, name, 64 if is_real else int(size), is_real)


def _error(what: str, file_name: str) -> RecordingError:
    return RecordingError(what, where=file_name, remedy="Write the dump anew.")
