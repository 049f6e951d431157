"""The values that a control unit reports on request: SAE J1979 service 01, the table itself.

A value is ``raw · factor + offset``, raw being the whole number in its bytes, the highest byte
first. Names are the job file's where it has one ("air mass flow"); the others are plain words for
the standard's own. The scalings are those of [j1979] as public copies of its tables give them.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Final

Scale = tuple[Fraction, Fraction]  # factor, offset


@dataclass(frozen=True, slots=True)
class Field:
    """One value within a parameter's bytes.

    Parameters
    ----------
    name, unit : str
        The quantity in words, and its unit.
    start, width : int
        First byte (0 = A) and number of bytes.
    factor, offset : Fraction
        From the whole number in the bytes to the value.
    is_signed : bool
        The whole number is in two's complement.
    support_bit : int or None
        Bit of byte A that says whether the value is there; None: always.
    unused : int or None
        Whole number that means "not used"; None: none does.
    """

    name: str
    unit: str
    start: int
    width: int
    factor: Fraction
    offset: Fraction
    is_signed: bool = False
    support_bit: int | None = None
    unused: int | None = None


@dataclass(frozen=True, slots=True)
class Parameter:
    """A parameter: its number, how many bytes it has, what stands in them."""

    number: int
    length: int
    fields: tuple[Field, ...]


def _scale(numerator: int, denominator: int = 1, offset: int = 0) -> Scale:
    return Fraction(numerator, denominator), Fraction(offset)


_ONE: Final = _scale(1)
_PERCENT: Final = _scale(100, 255)
_TRIM: Final = _scale(100, 128, -100)
_CELSIUS: Final = _scale(1, 1, -40)
_CATALYST: Final = _scale(1, 10, -40)
_RATIO: Final = _scale(2, 65536)
_TORQUE: Final = _scale(1, 1, -125)

# Parameters of one value: number, name, unit, bytes, scale.
_SINGLE: Final[tuple[tuple[int, str, str, int, Scale], ...]] = (
    (0x04, "calculated load", "%", 1, _PERCENT),
    (0x05, "coolant temperature", "degC", 1, _CELSIUS),
    (0x0A, "fuel pressure", "kPa", 1, _scale(3)),
    (0x0B, "manifold pressure", "kPa", 1, _ONE),
    (0x0C, "engine speed", "1/min", 2, _scale(1, 4)),
    (0x0D, "vehicle speed", "km/h", 1, _ONE),
    (0x0E, "timing advance", "deg", 1, _scale(1, 2, -64)),
    (0x0F, "intake air temperature", "degC", 1, _CELSIUS),
    (0x10, "air mass flow", "g/s", 2, _scale(1, 100)),
    (0x11, "throttle position", "%", 1, _PERCENT),
    (0x1F, "time since start", "s", 2, _ONE),
    (0x21, "distance with the lamp on", "km", 2, _ONE),
    (0x22, "fuel rail pressure above manifold", "kPa", 2, _scale(5178, 65535)),
    (0x23, "fuel rail pressure", "kPa", 2, _scale(10)),
    (0x2C, "exhaust recirculation command", "%", 1, _PERCENT),
    (0x2D, "exhaust recirculation error", "%", 1, _TRIM),
    (0x2E, "purge command", "%", 1, _PERCENT),
    (0x2F, "fuel level", "%", 1, _PERCENT),
    (0x30, "warm-ups since codes were cleared", "", 1, _ONE),
    (0x31, "distance since codes were cleared", "km", 2, _ONE),
    (0x33, "barometric pressure", "kPa", 1, _ONE),
    (0x3C, "catalyst temperature bank 1 sensor 1", "degC", 2, _CATALYST),
    (0x3D, "catalyst temperature bank 2 sensor 1", "degC", 2, _CATALYST),
    (0x3E, "catalyst temperature bank 1 sensor 2", "degC", 2, _CATALYST),
    (0x3F, "catalyst temperature bank 2 sensor 2", "degC", 2, _CATALYST),
    (0x42, "control unit supply", "V", 2, _scale(1, 1000)),
    (0x43, "absolute load", "%", 2, _PERCENT),
    (0x44, "commanded lambda", "", 2, _RATIO),
    (0x45, "relative throttle position", "%", 1, _PERCENT),
    (0x46, "ambient temperature", "degC", 1, _CELSIUS),
    (0x47, "throttle position B", "%", 1, _PERCENT),
    (0x48, "throttle position C", "%", 1, _PERCENT),
    (0x49, "pedal position D", "%", 1, _PERCENT),
    (0x4A, "pedal position E", "%", 1, _PERCENT),
    (0x4B, "pedal position F", "%", 1, _PERCENT),
    (0x4C, "commanded throttle", "%", 1, _PERCENT),
    (0x4D, "time with the lamp on", "min", 2, _ONE),
    (0x4E, "time since codes were cleared", "min", 2, _ONE),
    (0x52, "alcohol in the fuel", "%", 1, _PERCENT),
    (0x53, "absolute vapour pressure", "kPa", 2, _scale(1, 200)),
    (0x59, "absolute fuel rail pressure", "kPa", 2, _scale(10)),
    (0x5A, "relative pedal position", "%", 1, _PERCENT),
    (0x5B, "hybrid battery charge", "%", 1, _PERCENT),
    (0x5C, "oil temperature", "degC", 1, _CELSIUS),
    (0x5D, "injection timing", "deg", 2, _scale(1, 128, -210)),
    (0x5E, "fuel rate", "L/h", 2, _scale(1, 20)),
    (0x61, "torque demanded", "%", 1, _TORQUE),
    (0x62, "torque", "%", 1, _TORQUE),
    (0x63, "reference torque", "Nm", 2, _ONE),
)
# In two's complement: number, name, unit, bytes, scale.
_SIGNED: Final[tuple[tuple[int, str, str, int, Scale], ...]] = (
    (0x32, "vapour pressure", "Pa", 2, _scale(1, 4)),
    (0x54, "vapour pressure", "Pa", 2, _ONE),
)
# One value a bank; the second byte holds bank 3 or 4 where the engine has them.
_TRIMS: Final = (
    (0x06, "short fuel trim", 1),
    (0x07, "long fuel trim", 1),
    (0x08, "short fuel trim", 2),
    (0x09, "long fuel trim", 2),
)
_SECOND_SENSOR_TRIMS: Final = (
    (0x55, "short fuel trim of the second sensor", (1, 3)),
    (0x56, "long fuel trim of the second sensor", (1, 3)),
    (0x57, "short fuel trim of the second sensor", (2, 4)),
    (0x58, "long fuel trim of the second sensor", (2, 4)),
)
# Eight sensors in order, as parameter 13 places them: four a bank on two banks.
SENSOR_PLACES: Final = tuple(f"bank {bank} sensor {n}" for bank in (1, 2) for n in (1, 2, 3, 4))


def _field(name: str, unit: str, start: int, width: int, scale: Scale) -> Field:
    return Field(name, unit, start, width, *scale)


def _supported(name: str, unit: str, start: int, width: int, scale: Scale, bit: int) -> Field:
    return Field(name, unit, start, width, *scale, support_bit=bit)


def _oxygen(number: int, place: str) -> tuple[Parameter, ...]:
    """The three parameters of one oxygen sensor: narrow band, lambda with volts, with current."""
    volts, mixture = f"oxygen sensor volts {place}", f"lambda {place}"
    trim = Field(f"short fuel trim {place}", "%", 1, 1, *_TRIM, unused=0xFF)
    narrow = (_field(volts, "V", 0, 1, _scale(1, 200)), trim)
    ratio = _field(mixture, "", 0, 2, _RATIO)
    wide = (ratio, _field(volts, "V", 2, 2, _scale(8, 65536)))
    pump = (ratio, _field(f"pump current {place}", "mA", 2, 2, _scale(1, 256, -128)))
    return (
        Parameter(0x14 + number, 2, narrow),
        Parameter(0x24 + number, 4, wide),
        Parameter(0x34 + number, 4, pump),
    )


def _largest() -> tuple[Parameter, ...]:
    """Ends of scale that a control unit states for its own values."""
    return (
        Parameter(
            0x4F,
            4,
            (
                _field("end of scale of lambda", "", 0, 1, _ONE),
                _field("end of scale of oxygen sensor volts", "V", 1, 1, _ONE),
                _field("end of scale of pump current", "mA", 2, 1, _ONE),
                _field("end of scale of manifold pressure", "kPa", 3, 1, _scale(10)),
            ),
        ),
        Parameter(0x50, 4, (_field("end of scale of air mass flow", "g/s", 0, 1, _scale(10)),)),
    )


def _several_sensors() -> tuple[Parameter, ...]:
    """Parameters whose first byte says which of several sensors there are."""
    air = tuple(
        _supported(f"air mass flow sensor {letter}", "g/s", 1 + 2 * n, 2, _scale(1, 32), n)
        for n, letter in enumerate("AB")
    )
    coolant = tuple(
        _supported(f"coolant temperature sensor {n + 1}", "degC", 1 + n, 1, _CELSIUS, n)
        for n in range(2)
    )
    places = [f"bank {bank} sensor {n}" for bank in (1, 2) for n in (1, 2, 3)]
    intake = tuple(
        _supported(f"intake air temperature {place}", "degC", 1 + n, 1, _CELSIUS, n)
        for n, place in enumerate(places)
    )
    return Parameter(0x66, 5, air), Parameter(0x67, 3, coolant), Parameter(0x68, 7, intake)


def _all() -> tuple[Parameter, ...]:
    found = [
        Parameter(number, width, (_field(name, unit, 0, width, scale),))
        for number, name, unit, width, scale in _SINGLE
    ]
    found += [
        Parameter(number, width, (Field(name, unit, 0, width, *scale, is_signed=True),))
        for number, name, unit, width, scale in _SIGNED
    ]
    found += [
        Parameter(number, 1, (_field(f"{name} bank {bank}", "%", 0, 1, _TRIM),))
        for number, name, bank in _TRIMS
    ]
    found += [
        Parameter(
            number,
            2,
            tuple(_field(f"{name} bank {b}", "%", n, 1, _TRIM) for n, b in enumerate(banks)),
        )
        for number, name, banks in _SECOND_SENSOR_TRIMS
    ]
    for number, place in enumerate(SENSOR_PLACES):
        found += _oxygen(number, place)
    found += [*_largest(), *_several_sensors()]
    return tuple(sorted(found, key=lambda one: one.number))


PARAMETERS: Final[dict[int, Parameter]] = {one.number: one for one in _all()}
