"""Parameters that are no numbers: which are supported, and states as words (SAE J1979 service 01).

The bits are those of [j1979] as public copies of its tables give them.
"""

from __future__ import annotations

from typing import Final

from backprobe.errors import MessageError
from backprobe.standards.trouble_code import code_from_bytes

MASKS: Final = tuple(range(0x00, 0xE0, 0x20))  # parameters that say which of the next 32 there are
_MASK_BYTES: Final = 4

_FUEL_SYSTEM: Final[dict[int, str]] = {
    0x01: "open loop, not warm enough for closed loop yet",
    0x02: "closed loop with the oxygen sensors",
    0x04: "open loop because of load or fuel cut",
    0x08: "open loop because of a fault",
    0x10: "closed loop, with a fault in an oxygen sensor",
}
_SECONDARY_AIR: Final[dict[int, str]] = {
    0x01: "upstream of the first catalyst",
    0x02: "downstream of the first catalyst's inlet",
    0x04: "to the open air or off",
    0x08: "pump on for a test",
}
_FUEL: Final = (
    "",
    "petrol",
    "methanol",
    "ethanol",
    "diesel",
    "liquefied petroleum gas",
    "compressed natural gas",
    "propane",
    "electric",
)
# Number of bytes of each parameter that is a state.
STATE_BYTES: Final[dict[int, int]] = dict.fromkeys(MASKS, _MASK_BYTES) | {
    0x01: 4,
    0x02: 2,
    0x03: 2,
    0x12: 1,
    0x13: 1,
    0x1C: 1,
    0x1D: 1,
    0x1E: 1,
    0x41: 4,
    0x51: 1,
}


def supported_parameters(number: int, data: bytes) -> tuple[int, ...]:
    """Read a mask: the highest bit stands for the next parameter, the lowest for the 32nd.

    Parameters
    ----------
    number : int
        The mask's own number: 0x00, 0x20, 0x40, ...
    data : bytes
        Its four bytes.

    Raises
    ------
    MessageError
        The number isn't a mask's, or not four bytes.
    """
    if number not in MASKS:
        raise MessageError(
            f"Parameter {number:02X} isn't a mask of supported parameters.",
            remedy="Masks are 00, 20, 40 and so on to C0.",
        )
    _require_length(number, data, _MASK_BYTES)
    bits = int.from_bytes(data)
    return tuple(number + 1 + n for n in range(32) if bits >> (31 - n) & 1)


def supported_mask(number: int, supported: tuple[int, ...]) -> bytes:
    """Write the mask for the supported parameters; those beyond its 32 don't count."""
    bits = sum(1 << (31 - (one - number - 1)) for one in set(supported) if 0 < one - number <= 32)
    return bits.to_bytes(_MASK_BYTES)


def state_words(number: int, data: bytes) -> tuple[str, ...]:
    """Say in words what a parameter of states holds, as phrases.

    Raises
    ------
    MessageError
        The parameter isn't one of states, or has another number of bytes.
    """
    if number not in STATE_BYTES:
        raise MessageError(f"Parameter {number:02X} isn't one of states.")
    _require_length(number, data, STATE_BYTES[number])
    if number in MASKS:
        listed = " ".join(f"{one:02X}" for one in supported_parameters(number, data))
        return (f"supported parameters: {listed or 'none of the next 32'}",)
    return _WORDS[number](data)


def _monitor(data: bytes) -> tuple[str, ...]:
    ignition = "compression" if data[1] & 0x08 else "spark"
    return (
        f"warning lamp {'on' if data[0] & 0x80 else 'off'}",
        f"{data[0] & 0x7F} stored codes that light the lamp",
        f"{ignition} ignition",
    )


def _frozen_code(data: bytes) -> tuple[str, ...]:
    if data == b"\0\0":
        return ("no code has kept values",)
    return (f"the code that kept these values: {code_from_bytes(data[0], data[1])}",)


def _fuel_system(data: bytes) -> tuple[str, ...]:
    """Each byte has one bit set, or none where there is no such system."""
    found = []
    for number, byte in enumerate(data, start=1):
        if byte:
            words = _FUEL_SYSTEM.get(byte, f"state {byte:02X}, not defined")
            found.append(f"fuel system {number}: {words}")
    return tuple(found) or ("no fuel system reported: engine off",)


def _secondary_air(data: bytes) -> tuple[str, ...]:
    words = _SECONDARY_AIR.get(data[0], f"state {data[0]:02X}, not defined")
    return (f"secondary air: {words}",)


def _sensors_of_two_banks(data: bytes) -> tuple[str, ...]:
    return _places(data[0], sensors_a_bank=4)


def _sensors_of_four_banks(data: bytes) -> tuple[str, ...]:
    return _places(data[0], sensors_a_bank=2)


def _places(mask: int, *, sensors_a_bank: int) -> tuple[str, ...]:
    places = [
        f"bank {bit // sensors_a_bank + 1} sensor {bit % sensors_a_bank + 1}"
        for bit in range(8)
        if mask >> bit & 1
    ]
    return (f"oxygen sensors: {', '.join(places) or 'none'}",)


def _requirement(data: bytes) -> tuple[str, ...]:
    return (f"designed to on-board diagnostic requirement number {data[0]}",)


def _auxiliary(data: bytes) -> tuple[str, ...]:
    return (f"power take-off {'on' if data[0] & 1 else 'off'}",)


def _fuel(data: bytes) -> tuple[str, ...]:
    words = _FUEL[data[0]] if 0 < data[0] < len(_FUEL) else f"number {data[0]:02X}"
    return (f"fuel: {words}",)


def _monitor_this_drive(data: bytes) -> tuple[str, ...]:
    ignition = "compression" if data[1] & 0x08 else "spark"
    return (f"monitors of this drive, {ignition} ignition: {data.hex(' ').upper()}",)


_WORDS: Final = {
    0x01: _monitor,
    0x02: _frozen_code,
    0x03: _fuel_system,
    0x12: _secondary_air,
    0x13: _sensors_of_two_banks,
    0x1C: _requirement,
    0x1D: _sensors_of_four_banks,
    0x1E: _auxiliary,
    0x41: _monitor_this_drive,
    0x51: _fuel,
}


def _require_length(number: int, data: bytes, length: int) -> None:
    if len(data) != length:
        raise MessageError(
            f"Parameter {number:02X} has {length} bytes, here are {len(data)}.",
            remedy="Compare with the bytes as they were sent.",
        )
