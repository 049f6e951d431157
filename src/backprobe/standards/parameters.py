"""Bytes of a control unit's values to numbers with units, and back (SAE J1979 service 01).

The table is in `parameter_table`; masks of supported parameters and the states that are no numbers
are in `parameter_states`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from backprobe.errors import MessageError, ValueOutOfRange
from backprobe.standards.parameter_table import PARAMETERS, Field, Parameter


@dataclass(frozen=True, slots=True)
class ParameterValue:
    """A value as the control unit sent it.

    Parameters
    ----------
    name : str
        The quantity in the job file's words.
    value : float
        In ``unit``.
    unit : str
        "degC", "%", "g/s", ...; empty for a plain number.
    resolution : float
        Step from one whole number in the bytes to the next, in ``unit``: half of it is the most by
        which sending the value has changed it.
    data : bytes
        The bytes that carry it.
    """

    name: str
    value: float
    unit: str
    resolution: float
    data: bytes


def require_parameter(number: int) -> Parameter:
    """Find a parameter of the table.

    Raises
    ------
    MessageError
        The table has no such number.
    """
    if number not in PARAMETERS:
        raise MessageError(
            f"Parameter {number:02X} isn't in the table.",
            remedy="Its bytes can be noted as they are; the standard's own table tells the rest.",
        )
    return PARAMETERS[number]


def decode_parameter(number: int, data: bytes) -> tuple[ParameterValue, ...]:
    """Read a parameter's bytes.

    Parameters
    ----------
    number : int
        Number of the parameter (0x10: air mass flow).
    data : bytes
        Exactly its bytes, without service and number.

    Returns
    -------
    tuple of ParameterValue
        Those that are there: sensors which the first byte rules out, and values marked as not
        used, are left out.

    Raises
    ------
    MessageError
        No such parameter, or not as many bytes as it has.
    """
    parameter = require_parameter(number)
    if len(data) != parameter.length:
        raise MessageError(
            f"Parameter {number:02X} has {_bytes(parameter.length)}, here are {len(data)}.",
            remedy="Compare with the bytes as they were sent.",
        )
    values = (_decode_field(field, data) for field in parameter.fields)
    return tuple(value for value in values if value is not None)


def encode_parameter(number: int, values: Mapping[str, float]) -> bytes:
    """Write values as a control unit would send them, each rounded to the nearest step.

    Parameters
    ----------
    number : int
        Number of the parameter.
    values : mapping
        Value by name; a name left out is sent as not there where the parameter can say so.

    Raises
    ------
    MessageError
        No such parameter.
    ValueOutOfRange
        A name that the parameter doesn't have, one that it can't do without, or a value beyond
        the scale.
    """
    parameter = require_parameter(number)
    names = [field.name for field in parameter.fields]
    for name in values:
        if name not in names:
            raise ValueOutOfRange(
                f'Parameter {number:02X} has no "{name}".', remedy=f"It has {', '.join(names)}."
            )
    data = bytearray(parameter.length)
    for field in parameter.fields:
        _encode_field(field, values.get(field.name), data, where=f"parameter {number:02X}")
    return bytes(data)


def parameter_names(number: int) -> tuple[str, ...]:
    """Name what a parameter holds; empty where the table doesn't have it."""
    parameter = PARAMETERS.get(number)
    return () if parameter is None else tuple(field.name for field in parameter.fields)


def _decode_field(field: Field, data: bytes) -> ParameterValue | None:
    if field.support_bit is not None and not data[0] >> field.support_bit & 1:
        return None
    mine = data[field.start : field.start + field.width]
    raw = int.from_bytes(mine, "big", signed=field.is_signed)
    if raw == field.unused:
        return None
    value = float(raw * field.factor + field.offset)
    return ParameterValue(field.name, value, field.unit, float(field.factor), mine)


def _encode_field(field: Field, value: float | None, data: bytearray, *, where: str) -> None:
    if value is None:
        if field.unused is not None:
            data[field.start : field.start + field.width] = field.unused.to_bytes(field.width)
        elif field.support_bit is None:
            raise ValueOutOfRange(f'"{field.name}" is missing.', where, "Give its value.")
        return
    raw, lowest, highest = _raw(field, value), *_limits(field)
    if raw is None or not lowest <= raw <= highest:
        low, high = (float(x * field.factor + field.offset) for x in (lowest, highest))
        raise ValueOutOfRange(
            f"{field.name}: {value:g} {field.unit} is beyond the scale.",
            where,
            f"It reaches from {low:g} to {high:g} {field.unit}.",
        )
    data[field.start : field.start + field.width] = raw.to_bytes(
        field.width, "big", signed=field.is_signed
    )
    if field.support_bit is not None:
        data[0] |= 1 << field.support_bit


def _raw(field: Field, value: float) -> int | None:
    try:
        return round((Fraction(value) - field.offset) / field.factor)
    except (ValueError, OverflowError):  # NaN, infinite
        return None


def _limits(field: Field) -> tuple[int, int]:
    span = 1 << 8 * field.width
    if field.is_signed:
        return -(span // 2), span // 2 - 1
    return 0, span - 1 - (field.unused == span - 1)


def _bytes(count: int) -> str:
    return f"{count} byte{'' if count == 1 else 's'}"
