"""What a sound wire usually shows, where its role alone says it: supplies and grounds.

The limits are those of the circuit families, which carry their sources. A signal's volts depend on
what the sensor measures, so nothing is said of them.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from backprobe.families.schema import Family, Prior, Wire
from backprobe.job.model import Round
from backprobe.services.pictures.behind import GROUNDS
from backprobe.services.pictures.likeliest import Likeliest
from backprobe.services.steps import IDLE_BELOW_RPM

# A meter's limits on top: its data sheet's half per cent and some digits.
_GAIN, _DIGITS_VOLT = 0.005, 0.01
_OFFSETS: Final = {
    "cu-ground": ("inner-offset", "rail-offset"),
    "cu-inner": ("inner-offset",),
    "body": ("body-offset",),
    "battery-": (),
}
Band = tuple[float, float]


def usual_volts(likeliest: Likeliest, pin: str, taken: Round) -> Band | None:
    """Lowest and highest volts that a sound wire shows at a terminal in a round's state."""
    if taken.key == "off" or not likeliest.is_decided:
        return None
    bands = list(_bands(likeliest, pin, taken))
    known = [band for band in bands if band is not None]
    if not known or len(known) < len(bands):
        return None
    return min(low for low, _ in known), max(high for _, high in known)


def is_usual(volts: float, band: Band) -> bool:
    """Whether an indication lies within the band and the meter's own limits."""
    room = _GAIN * abs(volts) + _DIGITS_VOLT
    return band[0] - room <= volts <= band[1] + room


def _bands(likeliest: Likeliest, pin: str, taken: Round) -> Iterator[Band | None]:
    """The band of every wire that a terminal may be, in every family that may be meant."""
    roles = {wire.role for wire in likeliest.wires_at(pin)}
    for family in likeliest.families:
        for wire in family.wires:
            if wire.role in roles:
                yield _band(family, wire, taken)


def _band(family: Family, wire: Wire, taken: Round) -> Band | None:
    state = _state(taken)
    if wire.role == "supply-regulated":
        return _regulated(family, wire)
    if wire.role == "supply-battery" and taken.battery_volts is not None:
        low, high = _limits(family.driven["feed-loss"].prior(state))
        return taken.battery_volts.value + low, taken.battery_volts.value + high
    if wire.role == "sensor-ground" and wire.to in GROUNDS:
        offsets = [_limits(family.driven[name].prior(state)) for name in _OFFSETS[wire.to]]
        return sum(low for low, _ in offsets), sum(high for _, high in offsets)
    return None


def _regulated(family: Family, wire: Wire) -> Band | None:
    if wire.to == "ref":
        return _limits(family.values["ref-volts"])
    for element in family.elements:
        if element.kind == "source" and element.nodes[0] == wire.to:
            prior = family.values.get(element.parameters["volt"])
            return _limits(prior) if prior is not None else None
    return None


def _limits(prior: Prior) -> Band:
    """Where nearly all sound circuits lie: two standard deviations about a mean, or the limits."""
    if prior.kind == "normal":
        return prior.a - 2 * prior.b, prior.a + 2 * prior.b
    return (prior.a, prior.a) if prior.kind == "fixed" else (prior.a, prior.b)


def _state(taken: Round) -> str:
    """The round's state in the families' words."""
    if taken.key == "run":
        return "raised" if taken.rpm > IDLE_BELOW_RPM else "idle"
    return "crank" if taken.key == "crank" else "key-on"
