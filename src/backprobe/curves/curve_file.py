"""From the text of a curve file to a curve, with every mistake and its line."""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np

from backprobe.core.engine.thermistor_curve import (
    BetaCurve,
    PlatinumCurve,
    ResistanceCurve,
    SteinhartHartCurve,
    TableCurve,
)
from backprobe.core.engine.transfer_table import TransferTable
from backprobe.errors import BackprobeError, CurveFileError
from backprobe.families.mistakes import nearest
from backprobe.job.toml_lines import key_lines

KINDS: Final[Mapping[str, tuple[str, ...]]] = {
    "ntc_beta": ("r_ref_ohm", "t_ref_degc", "beta_kelvin"),
    "ntc_steinhart_hart": ("a", "b", "c"),
    "ntc_table": ("t_degc", "r_ohm"),
    "platinum": ("r0_ohm",),
    "transfer": (),
}
# Keys of a transfer's two columns: unit without prefix, factor to it.
OUTPUTS: Final = {"volt": ("volt", 1.0), "hertz": ("hertz", 1.0)}
QUANTITIES: Final = {
    "kg_per_h": ("gram per second", 1.0 / 3.6),
    "gram_per_s": ("gram per second", 1.0),
    "kpa": ("kilopascal", 1.0),
}
_COMMON: Final = ("format", "id", "title", "kind", "about", "source", "tolerance_percent")
_MORE: Final = ("valid_degc", "check")


@dataclass(frozen=True, eq=False)
class Curve:
    """What all curves tell of themselves.

    Parameters
    ----------
    id, title, about, source : str
        Name of its file, what it is, and where it was published.
    kind : str
        A key of ``KINDS``.
    tolerance : float
        Limits of a sound sensor around it, as a share of resistance or quantity.
    """

    id: str
    title: str
    about: str
    source: str
    kind: str
    tolerance: float

    @property
    def standard_tolerance(self) -> float:
        """The limits as a standard uncertainty: rectangular [jcgm100, 4.3.7]."""
        return self.tolerance / math.sqrt(3.0)


@dataclass(frozen=True, eq=False)
class TemperatureCurve(Curve):
    """Resistance over temperature, and where it may be believed, degC."""

    law: ResistanceCurve
    valid_degc: tuple[float, float]


@dataclass(frozen=True, eq=False)
class OutputCurve(Curve):
    """A quantity over an output; units are the plain ones of `quantities`."""

    table: TransferTable
    output_unit: str
    quantity_unit: str


AnyCurve: TypeAlias = TemperatureCurve | OutputCurve


_Told: TypeAlias = tuple[str, str, str, str]


@dataclass(frozen=True, slots=True)
class _Reader:
    """A parsed file with the lines of its keys."""

    values: Mapping[str, object]
    lines: Mapping[tuple[str | int, ...], int]
    file_name: str

    def error(self, key: str, what: str, remedy: str) -> CurveFileError:
        line = self.lines.get((key,))
        return CurveFileError(
            what, f"{self.file_name}, line {line}" if line else self.file_name, remedy
        )

    def text(self, key: str) -> str:
        value = self.values.get(key)
        if not isinstance(value, str) or not value.strip():
            raise self.error(key, f"A curve needs {key}, a text.", f'Add {key} = "...".')
        return " ".join(value.split())

    def number(self, key: str) -> float:
        value = self.values.get(key)
        if isinstance(value, bool) or not isinstance(value, (int, float)) or not _is_finite(value):
            raise self.error(
                key, f"A curve of this kind needs {key}, a number.", f"Add {key} = ..."
            )
        return float(value)

    def numbers(self, key: str, least: int = 2) -> list[float]:
        value = self.values.get(key)
        if not isinstance(value, list) or len(value) < least or not all(map(_is_number, value)):
            raise self.error(
                key,
                f"{key} has to be a list of {least} numbers at least.",
                f"Write {key} = [ ... ].",
            )
        return [float(each) for each in value]


def _is_finite(value: float) -> bool:
    return math.isfinite(value)


def _is_number(value: object) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and _is_finite(value)


def parse_curve(text: str, file_name: str) -> AnyCurve:
    """Read a curve file and check it against its own worked examples.

    Parameters
    ----------
    text : str
        The whole file.
    file_name : str
        For messages; without folder and ".toml" it has to be the curve's id.

    Raises
    ------
    CurveFileError
        Not TOML, an unknown or missing key, a curve that can't be, an example that it misses.
    """
    try:
        values = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        place = re.search(r"line (\d+)", str(error))
        where = f"{file_name}, line {place[1]}" if place else file_name
        said = str(error).partition(" (at")[0]
        raise CurveFileError(f"This isn't TOML: {said}.", where, "Mend that line.") from None
    reader = _Reader(values, key_lines(text, file_name), file_name)
    kind = reader.text("kind")
    if kind not in KINDS:
        raise reader.error("kind", f'"{kind}" isn\'t a kind of curve.', nearest(kind, KINDS))
    _require_known(reader, kind)
    if values.get("format") != 1:
        raise reader.error("format", "A curve file begins with format = 1.", "Add format = 1.")
    tolerance = reader.number("tolerance_percent") / 100.0
    if not 0.0 <= tolerance <= 0.5:
        raise reader.error(
            "tolerance_percent", "The tolerance has to lie between 0 and 50 %.", "Correct it."
        )
    told = (reader.text("id"), reader.text("title"), reader.text("about"), reader.text("source"))
    if told[0] != _stem(file_name):
        raise reader.error(
            "id", f'The id "{told[0]}" isn\'t the name of the file.', "Make them the same."
        )
    build = _transfer if kind == "transfer" else _temperature
    try:
        curve = build(reader, kind, told, tolerance)
    except CurveFileError:
        raise
    except BackprobeError as error:
        raise CurveFileError(error.what, file_name, error.remedy) from error
    _check(reader, curve)
    return curve


def _stem(file_name: str) -> str:
    return re.split(r"[\\/]", file_name)[-1].removesuffix(".toml")


def _require_known(reader: _Reader, kind: str) -> None:
    columns = (*OUTPUTS, *QUANTITIES) if kind == "transfer" else KINDS[kind]
    known = (*_COMMON, *_MORE, *columns)
    for key in reader.values:
        if key not in known:
            raise reader.error(
                key, f'Unknown key "{key}" in a curve of kind {kind}.', nearest(key, known)
            )


def _temperature(reader: _Reader, kind: str, told: _Told, tolerance: float) -> TemperatureCurve:
    low, high = reader.numbers("valid_degc")[:2]
    if not low < high:
        raise reader.error("valid_degc", "valid_degc has its limits reversed.", "Exchange them.")
    law = _LAWS[kind](reader)
    edge = law.ohm(np.linspace(low, high, 50))
    step = np.diff(edge)
    if not (
        np.isfinite(edge).all() and (edge > 0).all() and ((step > 0).all() or (step < 0).all())
    ):
        raise reader.error(
            "valid_degc", "The curve turns, or has no resistance, within its limits.", "Check it."
        )
    return TemperatureCurve(*told, kind, tolerance, law, (low, high))


_LAWS: Final[Mapping[str, Callable[[_Reader], ResistanceCurve]]] = {
    "ntc_beta": lambda r: BetaCurve(*(r.number(key) for key in KINDS["ntc_beta"])),
    "ntc_steinhart_hart": lambda r: SteinhartHartCurve(r.number("a"), r.number("b"), r.number("c")),
    "ntc_table": lambda r: TableCurve(np.array(r.numbers("t_degc")), np.array(r.numbers("r_ohm"))),
    "platinum": lambda r: PlatinumCurve(r.number("r0_ohm")),
}


def _transfer(reader: _Reader, kind: str, told: _Told, tolerance: float) -> OutputCurve:
    output, quantity = (_column(reader, known) for known in (OUTPUTS, QUANTITIES))
    table = TransferTable(
        np.array(reader.numbers(output)),
        np.array(reader.numbers(quantity)) * QUANTITIES[quantity][1],
    )
    units = OUTPUTS[output][0], QUANTITIES[quantity][0]
    return OutputCurve(*told, kind, tolerance, table, *units)


def _column(reader: _Reader, known: Mapping[str, tuple[str, float]]) -> str:
    found = [key for key in known if key in reader.values]
    if len(found) != 1:
        raise CurveFileError(
            "A transfer needs one column of outputs and one of quantities.",
            reader.file_name,
            f"Give one of {', '.join(known)}.",
        )
    return found[0]


def _check(reader: _Reader, curve: AnyCurve) -> None:
    """Hold the curve to each of its worked examples."""
    rows = reader.values.get("check")
    if not isinstance(rows, list) or not rows:
        raise reader.error(
            "check", "A curve needs worked examples.", "Add check = [{ ... }] with one at least."
        )
    for number, row in enumerate(rows, start=1):
        try:
            given, expected, tolerance = _example(curve, row)
        except (KeyError, TypeError, AttributeError, StopIteration):
            raise reader.error(
                "check",
                f"Example {number} can't be read.",
                "Write both values and rel_tol: { t_degc = 20.0, r_ohm = 2500.0, rel_tol = 1e-3 }.",
            ) from None
        if not abs(given - expected) <= tolerance * abs(expected):
            raise reader.error(
                "check",
                f"Example {number} asks for {expected:g}, the curve gives {given:.6g}.",
                "Correct the curve, the example or its rel_tol.",
            )


def _example(curve: AnyCurve, row: Mapping[str, float]) -> tuple[float, float, float]:
    tolerance = float(row["rel_tol"])
    if isinstance(curve, TemperatureCurve):
        given = curve.law.ohm(np.array(float(row["t_degc"])))
        return float(given), float(row["r_ohm"]), tolerance
    output = next(key for key in OUTPUTS if key in row)
    quantity = next(key for key in QUANTITIES if key in row)
    given = curve.table.quantity_at(np.array(float(row[output])))
    return float(given), float(row[quantity]) * QUANTITIES[quantity][1], tolerance
