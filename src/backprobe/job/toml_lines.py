"""On which line of a TOML text each key stands.

The standard reader gives values without places; a message without a line sends people searching.
This scanner walks over the text first and notes the line of every key, table and array element. It
doesn't judge: where it loses the thread it stops, and the standard reader says what is wrong there.
Only nesting beyond all sense is refused here, since the standard reader answers it with a full
stack, or (many dotted names) with memory that grows with their square.
"""

import re
from bisect import bisect_right
from typing import Final

from backprobe.errors import JobFileError

KeyPath = tuple[str | int, ...]

_DEEPEST: Final = 20  # names in a key, brackets in brackets; a job file needs three
_BLANK: Final = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_BARE: Final = re.compile(r"[A-Za-z0-9_-]+")
_BASIC: Final = re.compile(r'"((?:[^"\\\n]|\\.)*)"')
_LITERAL: Final = re.compile(r"'([^'\n]*)'")
_LONG_STRINGS: Final = (
    re.compile(r'"""(?:[^\\]|\\.)*?"""(?:"{0,2})', re.DOTALL),
    re.compile(r"'''.*?'''(?:'{0,2})", re.DOTALL),
)
_PLAIN_VALUE: Final = re.compile(r"[^,\]}#\n]*")
_ESCAPE: Final = re.compile(r"\\(?:u([0-9A-Fa-f]{4})|U([0-9A-Fa-f]{8})|(.))")
_ESCAPED: Final = {"b": "\b", "t": "\t", "n": "\n", "f": "\f", "r": "\r"}


class _Lost(Exception):  # noqa: N818 - never leaves this module
    """The scanner met what it doesn't expect."""


def key_lines(text: str, file_name: str = "") -> dict[KeyPath, int]:
    """Give the line, counted from one, of every key path of a TOML text.

    A path holds the names of tables and keys, and the index within an array:
    ``("round", 0, "volts", "3")``.

    Raises
    ------
    JobFileError
        Keys or brackets are nested deeper than any job file needs.
    """
    scanner = _Scanner(text, file_name)
    try:
        scanner.document()
    except _Lost:
        return scanner.lines  # the standard reader will say what is wrong
    return scanner.lines


class _Scanner:
    def __init__(self, text: str, file_name: str) -> None:
        self.text = text
        self.file_name = file_name
        self.at = 0
        self.lines: dict[KeyPath, int] = {}
        self._starts = [0, *(match.end() for match in re.finditer("\n", text))]
        self._depth = 0
        self._count: dict[KeyPath, int] = {}  # tables so far in each [[array of tables]]

    def document(self) -> None:
        table: KeyPath = ()
        while True:
            self._skip()
            if self.at >= len(self.text):
                return
            if self.text.startswith("[[", self.at):
                table = self._header("[[", "]]", is_array=True)
            elif self.text[self.at] == "[":
                table = self._header("[", "]", is_array=False)
            else:
                self._pair(table)

    def _header(self, start: str, end: str, *, is_array: bool) -> KeyPath:
        here = self.at
        self.at += len(start)
        names = self._key()
        self._expect(end)
        path: KeyPath = ()
        for depth, name in enumerate(names, start=1):
            path = (*path, name)
            if is_array and depth == len(names):
                self._count[path] = self._count.get(path, 0) + 1
            if path in self._count:
                self._note(path, here)
                path = (*path, self._count[path] - 1)
            self._note(path, here)  # also of a table that only a table below it makes
        return path

    def _pair(self, table: KeyPath) -> None:
        here = self.at
        path = table
        for name in self._key():
            path = (*path, name)
            self._note(path, here)
        self._expect("=")
        self._value(path)

    def _value(self, path: KeyPath) -> None:
        self._skip()
        for pattern in (*_LONG_STRINGS, _BASIC, _LITERAL):
            match = pattern.match(self.text, self.at)
            if match:
                self.at = match.end()
                return
        start = self.text[self.at : self.at + 1]
        if start == "[":
            self._list(path, "]")
        elif start == "{":
            self._list(path, "}")
        else:
            match = _PLAIN_VALUE.match(self.text, self.at)
            if match is None or match.end() == self.at:
                raise _Lost
            self.at = match.end()

    def _list(self, path: KeyPath, end: str) -> None:
        """Walk over an array or an inline table."""
        self._depth += 1
        self._require_shallow(self._depth)
        self.at += 1
        index = 0
        while True:
            self._skip()
            if self.text.startswith(end, self.at):
                self.at += 1
                self._depth -= 1
                return
            if end == "]":
                self._note((*path, index), self.at)
                self._value((*path, index))
                index += 1
            else:
                self._pair(path)
            self._skip()
            if self.text.startswith(",", self.at):
                self.at += 1
            elif not self.text.startswith(end, self.at):
                raise _Lost

    def _key(self) -> list[str]:
        names: list[str] = []
        while True:
            self._skip()
            names.append(self._name())
            self._require_shallow(len(names))
            self._skip()
            if not self.text.startswith(".", self.at):
                return names
            self.at += 1

    def _name(self) -> str:
        for pattern in (_BARE, _BASIC, _LITERAL):
            match = pattern.match(self.text, self.at)
            if match:
                self.at = match.end()
                if pattern is _BARE:
                    return match[0]
                return _ESCAPE.sub(_unescape, match[1]) if pattern is _BASIC else match[1]
        raise _Lost

    def _skip(self) -> None:
        match = _BLANK.match(self.text, self.at)
        self.at = match.end() if match else self.at

    def _expect(self, sign: str) -> None:
        self._skip()
        if not self.text.startswith(sign, self.at):
            raise _Lost
        self.at += len(sign)

    def _require_shallow(self, depth: int) -> None:
        if depth > _DEEPEST:
            raise JobFileError(
                f"Names or brackets are nested more than {_DEEPEST} deep.",
                where=f"{self.file_name}, line {self._line(self.at)}".removeprefix(", "),
                remedy="Write the key as the description of the job file has it.",
            )

    def _line(self, position: int) -> int:
        return bisect_right(self._starts, position)

    def _note(self, path: KeyPath, position: int) -> None:
        self.lines.setdefault(path, self._line(position))


def _unescape(match: re.Match[str]) -> str:
    code = match[1] or match[2]
    if code:
        number = int(code, 16)
        return chr(number) if number <= 0x10FFFF else match[0]
    return _ESCAPED.get(match[3], match[3])
