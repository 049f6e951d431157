"""The least proof that a verdict needs before a wire is opened or a part is bought.

The control unit comes last: it is never named before supply and return hold under load, the wire
is isolated at its pin and the output is still wrong. Common practice of the trade, no published
source.
"""

from __future__ import annotations

import re
from typing import Final

from backprobe.vocabulary import NO_FAULT, split_fault

_WIRE: Final = (
    "A temporary wire in place of this one (fused) makes the fault go, and taking it off brings it "
    "back; at the connector, poor grip or corrosion is seen and cleaning the contact cures it."
)
_SHORT: Final = (
    "With the wire isolated at both ends it still reads what it touches; moving or parting the "
    "harness makes it go and come back."
)
_RAIL: Final = (
    "The same lift or loss is seen at a second sensor on this wire and at its source, with current "
    "flowing; unplugging the others one at a time (key off each time) shows who pulls it."
)
_REPLACED: Final = (
    "voltages or resistors put in the sensor's place are reported right by the control unit, and a "
    "sensor known to be good reads right in this place."
)
_SENSOR: Final = _REPLACED[0].upper() + _REPLACED[1:]
_CONTACT_OR_SENSOR: Final = (
    f"The connector is opened, its contact looked at and cleaned, and the fault stays; {_REPLACED}"
)
MINIMUM_PROOF: Final[dict[str, str]] = {
    NO_FAULT: (
        "This holds for the moment of the readings. A complaint that comes and goes is read again "
        "while it is there: hot, cold, wet, wiggled."
    ),
    "open": _WIRE,
    "resistance": _WIRE,
    "short-to-ground": _SHORT,
    "short-to-supply": _SHORT,
    "short-to-battery": _SHORT,
    "supply-low": _RAIL,
    "ground-lifted": _RAIL,
    "control-unit-input": (
        "The control unit is named last: its supply and ground hold under load, the wire is "
        "isolated at the control unit's pin, and the pin is still wrong."
    ),
    "sensor-open": _CONTACT_OR_SENSOR,
    "sensor-shorted": _SENSOR,
    "sensor-stuck": _SENSOR,
    "sensor-drift": _SENSOR,
    "swapped": (
        "Wire and terminal compared at both ends of the harness; exchanged, the same readings come "
        "right."
    ),
}


def minimum_proof(fault: str) -> str:
    """Say what has to be seen before this fault (a name such as "open:sensor-ground") is acted on.

    A name that is not known gets no proof rather than a wrong one.
    """
    return MINIMUM_PROOF.get(split_fault(fault)[0], "")


# Where one thing to see ends and the next begins.
_NEXT_STEP: Final = re.compile(r"(?<=\.) |; |, and (?=a sensor |the pin )|, (?=the wire is )")
_ORDER: Final = "The control unit is named last: "


def proof_steps(fault: str) -> tuple[str, ...]:
    """The least proof as single things to be seen and ticked off."""
    parts = _NEXT_STEP.split(minimum_proof(fault).removeprefix(_ORDER))
    return tuple(f"{part[0].upper()}{part[1:].rstrip('.')}." for part in parts if part)
