"""The connectors that vehicles of a campaign have: which blocks each is put together from."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeAlias

from backprobe.campaign.actuators import Load, Motor, WideRangeCell
from backprobe.campaign.analogue import Analogue
from backprobe.campaign.block import Block
from backprobe.campaign.generators import Inductive, Knock, OxygenCell
from backprobe.campaign.position import Contact, ElectronicTrack, Lever, Track
from backprobe.campaign.rails import (
    BODY,
    FEED,
    RAIL,
    REF,
    REF_8,
    REF_B,
    ReturnWire,
    ShieldWire,
    SupplyWire,
)
from backprobe.campaign.spreads import Random, chance, pick
from backprobe.campaign.switching import Frequency, Hall, Pulses
from backprobe.campaign.temperature import Platinum, Thermistor
from backprobe.campaign.two_wire_current import CurrentSensor, Heating
from backprobe.errors import UsageError

Blocks: TypeAlias = list[Block]


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


def _ground(rng: Random, body_share: float = 0.0) -> ReturnWire:
    return ReturnWire("ground", BODY if chance(rng, body_share) else RAIL)


def _thermistor(rng: Random) -> Blocks:
    place = pick(rng, (0.5, "coolant"), (0.35, "air"), (0.15, "other"))
    return [_ground(rng, 0.03), Thermistor("signal", "ground", place)]


def _platinum(rng: Random) -> Blocks:
    return [_ground(rng), Platinum("signal", "ground")]


def _switch(rng: Random) -> Blocks:
    return [
        _ground(rng, 0.3),
        Contact("signal", "ground", pick(rng, (1.0, "level"), (1.0, "pressure"))),
    ]


def _inductive(_: Random) -> Blocks:
    return [Inductive("coil")]


def _inductive_shielded(_: Random) -> Blocks:
    return [Inductive("coil"), ShieldWire("shield")]


def _knock(_: Random) -> Blocks:
    return [Knock("knock")]


def _knock_shielded(_: Random) -> Blocks:
    return [Knock("knock"), ShieldWire("shield")]


def _current(rng: Random) -> Blocks:
    fed_by = pick(rng, (0.6, FEED), (0.25, REF_8), (0.15, REF))
    return [SupplyWire("supply", fed_by), CurrentSensor("signal", "supply")]


def _load(what: str) -> Callable[[Random], Blocks]:
    def build(_: Random) -> Blocks:
        return [SupplyWire("supply", FEED), Load("control", "supply", what)]

    return build


def _double_solenoid(_: Random) -> Blocks:
    return [
        SupplyWire("supply", FEED),
        Load("control.a", "supply", "solenoid"),
        Load("control.b", "supply", "solenoid"),
    ]


def _track(rng: Random) -> Blocks:
    what = pick(rng, (0.7, "throttle"), (0.15, "pedal"), (0.15, "valve"))
    return [
        SupplyWire("supply", REF),
        _ground(rng),
        Lever("lever", what),
        _one_track(rng, "signal", "supply", "ground", "plain"),
    ]


def _one_track(rng: Random, name: str, supply: str, ground: str, curve: str) -> Block:
    if chance(rng, 0.75):
        return Track(name, supply, ground, "lever", curve)
    return ElectronicTrack(name, supply, ground, REF, "lever", curve)


def _track_with_switch(rng: Random) -> Blocks:
    return [
        SupplyWire("supply", REF),
        _ground(rng),
        Lever("lever", "throttle"),
        Track("signal", "supply", "ground", "lever"),
        Contact("idle", "ground", "lever", "lever"),
    ]


def _two_curves(rng: Random) -> str:
    return pick(rng, (0.4, "half"), (0.35, "opposed"), (0.25, "parallel"))


def _pedal_six(rng: Random) -> Blocks:
    second = pick(rng, (0.5, REF_B), (0.5, REF))
    electronic = chance(rng, 0.5)
    blocks: Blocks = [
        SupplyWire("supply", REF),
        ReturnWire("ground"),
        SupplyWire("supply.b", second),
        ReturnWire("ground.b"),
        Lever("lever", "pedal"),
    ]
    for name, tail, fed_by, curve in (
        ("signal", "", REF, "plain"),
        ("signal.b", ".b", second, _two_curves(rng)),
    ):
        supply, ground = f"supply{tail}", f"ground{tail}"
        if electronic:
            blocks.append(ElectronicTrack(name, supply, ground, fed_by, "lever", curve))
        else:
            blocks.append(Track(name, supply, ground, "lever", curve))
    return blocks


def _two_tracks(rng: Random, lever: str) -> Blocks:
    electronic = chance(rng, 0.4)
    blocks: Blocks = [SupplyWire("supply", REF), ReturnWire("ground"), Lever("lever", lever)]
    for name, curve in (("signal", "plain"), ("signal.b", _two_curves(rng))):
        if electronic:
            blocks.append(ElectronicTrack(name, "supply", "ground", REF, "lever", curve))
        else:
            blocks.append(Track(name, "supply", "ground", "lever", curve))
    return blocks


def _dual_four(rng: Random) -> Blocks:
    return _two_tracks(rng, pick(rng, (0.6, "throttle"), (0.4, "pedal")))


def _throttle_body(rng: Random) -> Blocks:
    return [Motor("motor"), *_two_tracks(rng, "throttle body")]


def _pressure(rng: Random) -> Blocks:
    what = pick(rng, (0.5, "pressure"), (0.2, "barometer"), (0.3, "rail"))
    return [
        SupplyWire("supply", REF),
        _ground(rng),
        Analogue("signal", "supply", "ground", REF, what),
    ]


def _pressure_thermistor(rng: Random) -> Blocks:
    what = pick(rng, (0.7, "pressure"), (0.2, "barometer"), (0.1, "rail"))
    return [
        SupplyWire("supply", REF),
        _ground(rng),
        Analogue("signal", "supply", "ground", REF, what),
        Thermistor("temperature", "ground", "other" if what == "rail" else "air"),
    ]


def _hall(cam: bool) -> Callable[[Random], Blocks]:
    def build(rng: Random) -> Blocks:
        fed_by = pick(rng, (0.6, REF), (0.15, REF_8), (0.25, FEED))
        return [
            SupplyWire("supply", fed_by),
            _ground(rng, 0.05),
            Hall("signal", "supply", "ground", fed_by, cam=cam),
        ]

    return build


def _pulses(rng: Random) -> Blocks:
    return [SupplyWire("supply", REF), _ground(rng), Pulses("signal", "supply", "ground", REF)]


def _air_mass_three(rng: Random) -> Blocks:
    fed_by = pick(rng, (0.75, FEED), (0.25, REF))
    return [
        SupplyWire("supply", fed_by),
        _ground(rng, 0.15 if fed_by == FEED else 0.0),
        Analogue("signal", "supply", "ground", fed_by, "air-mass"),
    ]


def _air_mass_frequency_three(rng: Random) -> Blocks:
    fed_by = pick(rng, (0.75, FEED), (0.25, REF))
    return [
        SupplyWire("supply", fed_by),
        _ground(rng, 0.15 if fed_by == FEED else 0.0),
        Frequency("signal", "supply", "ground", fed_by),
    ]


def _air_mass_return(rng: Random) -> Blocks:
    output = Analogue("signal", "supply", "power.ground", FEED, "air-mass")
    output.reference = "ground"
    return [
        SupplyWire("supply", FEED),
        ReturnWire("power.ground", BODY if chance(rng, 0.6) else RAIL),
        ReturnWire("ground"),
        output,
    ]


def _air_mass_thermistor_four(rng: Random) -> Blocks:
    return [*_air_mass_three(rng), Thermistor("temperature", "ground", "air")]


def _air_mass_frequency_four(rng: Random) -> Blocks:
    return [*_air_mass_frequency_three(rng), Thermistor("temperature", "ground", "air")]


def _air_mass_five(rng: Random) -> Blocks:
    return [*_air_mass_return(rng), Thermistor("temperature", "ground", "air")]


def _air_mass_five_reference(rng: Random) -> Blocks:
    # Heated from the battery; its output is a share of the 5 V reference that it is given too.
    del rng
    output = Analogue("signal", "reference", "ground", REF, "air-mass")
    return [
        SupplyWire("supply", FEED),
        SupplyWire("reference", REF),
        ReturnWire("ground"),
        output,
        Heating("heating", "supply", "ground"),
        Thermistor("temperature", "ground", "air"),
    ]


def _air_mass_frequency_five(rng: Random) -> Blocks:
    output = Frequency("signal", "supply", "power.ground", FEED)
    output.reference = "ground"
    return [
        SupplyWire("supply", FEED),
        ReturnWire("power.ground", BODY if chance(rng, 0.6) else RAIL),
        ReturnWire("ground"),
        output,
        Thermistor("temperature", "ground", "air"),
    ]


def _oxygen(_: Random) -> Blocks:
    return [
        SupplyWire("supply", FEED),
        Load("heater", "supply", "heater"),
        OxygenCell("cell"),
    ]


def _oxygen_three(_: Random) -> Blocks:
    return [
        SupplyWire("supply", FEED),
        Load("heater", "supply", "heater"),
        OxygenCell("cell", shell_ground=True),
    ]


def _oxygen_two(_: Random) -> Blocks:
    return [OxygenCell("cell")]


def _wide_range(trimmed: bool) -> Callable[[Random], Blocks]:
    def build(_: Random) -> Blocks:
        return [
            SupplyWire("supply", FEED),
            Load("heater", "supply", "heater"),
            WideRangeCell("cell", trimmed=trimmed),
        ]

    return build


DESIGNS: tuple[Design, ...] = (
    Design("thermistor", "temperature, thermistor", "temperature", 2, 3.0, _thermistor),
    Design("platinum", "exhaust temperature, platinum", "temperature", 2, 0.6, _platinum),
    Design("switch", "switch to ground", "switch", 2, 1.0, _switch),
    Design("inductive", "speed, inductive pick-up", "speed", 2, 1.5, _inductive),
    Design(
        "inductive-shielded",
        "speed, inductive pick-up, screened",
        "speed",
        3,
        0.7,
        _inductive_shielded,
    ),
    Design("knock", "knock, piezo", "knock", 2, 1.0, _knock),
    Design("knock-shielded", "knock, piezo", "knock", 3, 0.4, _knock_shielded),
    Design("current", "speed, two-wire current sensor", "speed", 2, 1.0, _current),
    Design("injector", "injector, low-side driver", "actuator", 2, 1.0, _load("injector")),
    Design("solenoid", "solenoid, low-side driver", "actuator", 2, 1.5, _load("solenoid")),
    Design("relay", "relay coil, low-side driver", "actuator", 2, 0.5, _load("relay")),
    Design("double-solenoid", "solenoid, two coils", "actuator", 3, 0.1, _double_solenoid),
    Design("oxygen-two", "oxygen, zirconia, unheated", "oxygen", 2, 0.2, _oxygen_two),
    Design(
        "oxygen-three",
        "oxygen, zirconia, heated, shell ground",
        "oxygen",
        3,
        0.4,
        _oxygen_three,
    ),
    Design("track", "position, potentiometer", "position", 3, 2.0, _track),
    Design("pressure", "pressure, ratiometric", "pressure", 3, 2.0, _pressure),
    Design("hall-crank", "speed, Hall sensor, open collector", "speed", 3, 1.5, _hall(cam=False)),
    Design("hall-cam", "speed, Hall sensor, open collector", "speed", 3, 1.5, _hall(cam=True)),
    Design("pulses", "serial pulses (SAE J2716)", "position", 3, 0.7, _pulses),
    Design("air-mass", "air mass, voltage", "air-mass", 3, 0.8, _air_mass_three),
    Design(
        "air-mass-frequency", "air mass, frequency", "air-mass", 3, 0.6, _air_mass_frequency_three
    ),
    Design("air-mass-return", "air mass, voltage", "air-mass", 4, 0.8, _air_mass_return),
    Design(
        "air-mass-thermistor",
        "air mass, voltage, with thermistor",
        "air-mass",
        4,
        1.5,
        _air_mass_thermistor_four,
    ),
    Design(
        "air-mass-frequency-thermistor",
        "air mass, frequency, with thermistor",
        "air-mass",
        4,
        1.0,
        _air_mass_frequency_four,
    ),
    Design(
        "pressure-thermistor",
        "pressure, ratiometric, with thermistor",
        "pressure",
        4,
        1.5,
        _pressure_thermistor,
    ),
    Design("oxygen", "oxygen, zirconia, heated", "oxygen", 4, 2.0, _oxygen),
    Design(
        "track-switch",
        "position, potentiometer, with idle switch",
        "position",
        4,
        0.8,
        _track_with_switch,
    ),
    Design("dual-track-four", "position, two tracks", "position", 4, 0.8, _dual_four),
    Design(
        "air-mass-five", "air mass, voltage, with thermistor", "air-mass", 5, 1.0, _air_mass_five
    ),
    Design(
        "air-mass-five-reference",
        "air mass, voltage, with thermistor",
        "air-mass",
        5,
        0.7,
        _air_mass_five_reference,
    ),
    Design(
        "air-mass-frequency-five",
        "air mass, frequency, with thermistor",
        "air-mass",
        5,
        0.7,
        _air_mass_frequency_five,
    ),
    Design("wide-range-five", "oxygen, wide range", "oxygen", 5, 0.6, _wide_range(trimmed=False)),
    Design("wide-range-six", "oxygen, wide range", "oxygen", 6, 0.6, _wide_range(trimmed=True)),
    Design("pedal", "position, two tracks", "position", 6, 1.0, _pedal_six),
    Design("throttle-body", "throttle body", "position", 6, 1.0, _throttle_body),
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
