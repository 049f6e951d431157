"""The connectors that vehicles of a campaign have, and how common each is."""

from collections.abc import Callable
from dataclasses import dataclass

from backprobe.campaign import connector_parts as parts
from backprobe.campaign.connector_parts import Blocks
from backprobe.campaign.rails import REF, REF_8, REF_B, SupplyWire
from backprobe.campaign.spreads import Random
from backprobe.campaign.switching import Hall
from backprobe.errors import UsageError


@dataclass(frozen=True, slots=True)
class Design:
    """A kind of connector: the trade's words for it, and how to draw one.

    `weight` says how common it is; what a small workshop meets, by common practice.
    """

    name: str
    circuit: str
    kind: str
    wires: int
    weight: float
    build: Callable[[Random], Blocks]


DESIGNS: tuple[Design, ...] = (
    Design("thermistor", "temperature, thermistor", "temperature", 2, 3.0, parts.thermistor),
    Design("platinum", "exhaust temperature, platinum", "temperature", 2, 0.6, parts.platinum),
    Design("switch", "switch to ground", "switch", 2, 1.0, parts.switch),
    Design("inductive", "speed, inductive pick-up", "speed", 2, 1.5, parts.inductive),
    Design(
        "inductive-shielded",
        "speed, inductive pick-up, screened",
        "speed",
        3,
        0.7,
        parts.inductive_shielded,
    ),
    Design("knock", "knock, piezo", "knock", 2, 1.0, parts.knock),
    Design("knock-shielded", "knock, piezo", "knock", 3, 0.4, parts.knock_shielded),
    Design("current", "speed, two-wire current sensor", "speed", 2, 1.0, parts.current),
    Design("injector", "injector, low-side driver", "actuator", 2, 1.0, parts.load("injector")),
    Design("solenoid", "solenoid, low-side driver", "actuator", 2, 1.5, parts.load("solenoid")),
    Design("relay", "relay coil, low-side driver", "actuator", 2, 0.5, parts.load("relay")),
    Design("double-solenoid", "solenoid, two coils", "actuator", 3, 0.1, parts.double_solenoid),
    Design("oxygen-two", "oxygen, zirconia, unheated", "oxygen", 2, 0.2, parts.oxygen_two),
    Design(
        "oxygen-three",
        "oxygen, zirconia, heated, shell ground",
        "oxygen",
        3,
        0.4,
        parts.oxygen_three,
    ),
    Design("track", "position, potentiometer", "position", 3, 2.0, parts.track),
    Design("pressure", "pressure, ratiometric", "pressure", 3, 2.0, parts.pressure),
    Design(
        "hall-crank", "speed, Hall sensor, open collector", "speed", 3, 1.5, parts.hall(cam=False)
    ),
    Design("hall-cam", "speed, Hall sensor, open collector", "speed", 3, 1.5, parts.hall(cam=True)),
    Design("pulses", "serial pulses (SAE J2716)", "position", 3, 0.7, parts.pulses),
    Design("air-mass", "air mass, voltage", "air-mass", 3, 0.8, parts.air_mass_three),
    Design(
        "air-mass-frequency",
        "air mass, frequency",
        "air-mass",
        3,
        0.6,
        parts.air_mass_frequency_three,
    ),
    Design("air-mass-return", "air mass, voltage", "air-mass", 4, 0.8, parts.air_mass_return),
    Design(
        "air-mass-thermistor",
        "air mass, voltage, with thermistor",
        "air-mass",
        4,
        1.5,
        parts.air_mass_thermistor_four,
    ),
    Design(
        "air-mass-frequency-thermistor",
        "air mass, frequency, with thermistor",
        "air-mass",
        4,
        1.0,
        parts.air_mass_frequency_four,
    ),
    Design(
        "pressure-thermistor",
        "pressure, ratiometric, with thermistor",
        "pressure",
        4,
        1.5,
        parts.pressure_thermistor,
    ),
    Design("oxygen", "oxygen, zirconia, heated", "oxygen", 4, 2.0, parts.oxygen),
    Design(
        "track-switch",
        "position, potentiometer, with idle switch",
        "position",
        4,
        0.8,
        parts.track_with_switch,
    ),
    Design("dual-track-four", "position, two tracks", "position", 4, 0.8, parts.dual_four),
    Design(
        "air-mass-five",
        "air mass, voltage, with thermistor",
        "air-mass",
        5,
        1.0,
        parts.air_mass_five,
    ),
    Design(
        "air-mass-five-reference",
        "air mass, voltage, with thermistor",
        "air-mass",
        5,
        0.7,
        parts.air_mass_five_reference,
    ),
    Design(
        "air-mass-frequency-five",
        "air mass, frequency, with thermistor",
        "air-mass",
        5,
        0.7,
        parts.air_mass_frequency_five,
    ),
    Design(
        "wide-range-five", "oxygen, wide range", "oxygen", 5, 0.6, parts.wide_range(trimmed=False)
    ),
    Design(
        "wide-range-six", "oxygen, wide range", "oxygen", 6, 0.6, parts.wide_range(trimmed=True)
    ),
    Design("pedal", "position, two tracks", "position", 6, 1.0, parts.pedal_six),
    Design("throttle-body", "throttle body", "position", 6, 1.0, parts.throttle_body),
)


def rails_of(blocks: Blocks) -> tuple[str, ...]:
    """Regulated outputs that these blocks need; the control unit's 5 V is always there."""
    needed = {REF}
    for block in blocks:
        if isinstance(block, SupplyWire) and block.to in {REF_B, REF_8}:
            needed.add(block.to)
        if isinstance(block, Hall):
            needed.add(REF_8)
    return tuple(sorted(needed))


def design_named(name: str) -> Design:
    """Find a kind of connector by its name."""
    for design in DESIGNS:
        if design.name == name:
            return design
    names = ", ".join(design.name for design in DESIGNS)
    raise UsageError(f'There is no connector "{name}".', remedy=f"Take one of: {names}.")
