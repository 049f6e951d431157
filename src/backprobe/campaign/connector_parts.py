"""Which blocks the connectors of a campaign are put together from."""

from collections.abc import Callable
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
from backprobe.campaign.two_wire_current import CurrentSensor, CurrentSensorFedBySignal, Heating

Blocks: TypeAlias = list[Block]


def ground(rng: Random, body_share: float = 0.0) -> ReturnWire:
    """A return, to the ground rail or at times to the body."""
    return ReturnWire("ground", BODY if chance(rng, body_share) else RAIL)


def thermistor(rng: Random) -> Blocks:
    """A thermistor and its return."""
    place = pick(rng, (0.5, "coolant"), (0.35, "air"), (0.15, "other"))
    return [ground(rng, 0.03), Thermistor("signal", "ground", place)]


def platinum(rng: Random) -> Blocks:
    """A platinum resistor and its return."""
    return [ground(rng), Platinum("signal", "ground")]


def switch(rng: Random) -> Blocks:
    """A contact to ground."""
    return [
        ground(rng, 0.3),
        Contact("signal", "ground", pick(rng, (1.0, "level"), (1.0, "pressure"))),
    ]


def inductive(_: Random) -> Blocks:
    """A coil that makes its own voltage."""
    return [Inductive("coil")]


def inductive_shielded(_: Random) -> Blocks:
    """The same in a screened cable."""
    return [Inductive("coil"), ShieldWire("shield")]


def knock(_: Random) -> Blocks:
    """A piezo element."""
    return [Knock("knock")]


def knock_shielded(_: Random) -> Blocks:
    """The same in a screened cable."""
    return [Knock("knock"), ShieldWire("shield")]


def current(rng: Random) -> Blocks:
    """A sensor that tells speed by the current it takes."""
    fed_by = pick(rng, (0.6, FEED), (0.25, REF_8), (0.15, REF))
    if chance(rng.spawn(1)[0], 0.25):
        return [ground(rng), CurrentSensorFedBySignal("signal", fed_by, "ground")]
    return [SupplyWire("supply", fed_by), CurrentSensor("signal", "supply")]


def load(what: str) -> Callable[[Random], Blocks]:
    """A load between the feed and a low-side driver."""

    def build(_: Random) -> Blocks:
        return [SupplyWire("supply", FEED), Load("control", "supply", what)]

    return build


def double_solenoid(_: Random) -> Blocks:
    """Two solenoids on one feed."""
    return [
        SupplyWire("supply", FEED),
        Load("control.a", "supply", "solenoid"),
        Load("control.b", "supply", "solenoid"),
    ]


def track(rng: Random) -> Blocks:
    """One track on a lever."""
    what = pick(rng, (0.7, "throttle"), (0.15, "pedal"), (0.15, "valve"))
    return [
        SupplyWire("supply", REF),
        ground(rng),
        Lever("lever", what),
        one_track(rng, "signal", "supply", "ground", "plain"),
    ]


def one_track(rng: Random, name: str, supply: str, ground: str, curve: str) -> Block:
    """A potentiometer or an electronic one."""
    if chance(rng, 0.75):
        return Track(name, supply, ground, "lever", curve)
    return ElectronicTrack(name, supply, ground, REF, "lever", curve)


def track_with_switch(rng: Random) -> Blocks:
    """A track and an idle contact on one lever."""
    return [
        SupplyWire("supply", REF),
        ground(rng),
        Lever("lever", "throttle"),
        Track("signal", "supply", "ground", "lever"),
        Contact("idle", "ground", "lever", "lever"),
    ]


def two_curves(rng: Random) -> str:
    """How a second track runs beside the first."""
    return pick(rng, (0.4, "half"), (0.35, "opposed"), (0.25, "parallel"))


def pedal_six(rng: Random) -> Blocks:
    """Two tracks of a pedal, each with its own feed and return."""
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
        ("signal.b", ".b", second, two_curves(rng)),
    ):
        supply, ground = f"supply{tail}", f"ground{tail}"
        if electronic:
            blocks.append(ElectronicTrack(name, supply, ground, fed_by, "lever", curve))
        else:
            blocks.append(Track(name, supply, ground, "lever", curve))
    return blocks


def two_tracks(rng: Random, lever: str) -> Blocks:
    """Two tracks on one feed and return."""
    electronic = chance(rng, 0.4)
    blocks: Blocks = [SupplyWire("supply", REF), ReturnWire("ground"), Lever("lever", lever)]
    for name, curve in (("signal", "plain"), ("signal.b", two_curves(rng))):
        if electronic:
            blocks.append(ElectronicTrack(name, "supply", "ground", REF, "lever", curve))
        else:
            blocks.append(Track(name, "supply", "ground", "lever", curve))
    return blocks


def dual_four(rng: Random) -> Blocks:
    """Two tracks of a throttle or a pedal."""
    return two_tracks(rng, pick(rng, (0.6, "throttle"), (0.4, "pedal")))


def throttle_body(rng: Random) -> Blocks:
    """A motor and two tracks of its throttle."""
    return [Motor("motor"), *two_tracks(rng, "throttle body")]


def pressure(rng: Random) -> Blocks:
    """A pressure sensor whose output is a share of its feed."""
    what = pick(rng, (0.5, "pressure"), (0.2, "barometer"), (0.3, "rail"))
    return [
        SupplyWire("supply", REF),
        ground(rng),
        Analogue("signal", "supply", "ground", REF, what),
    ]


def pressure_thermistor(rng: Random) -> Blocks:
    """The same with a thermistor on its return."""
    what = pick(rng, (0.7, "pressure"), (0.2, "barometer"), (0.1, "rail"))
    return [
        SupplyWire("supply", REF),
        ground(rng),
        Analogue("signal", "supply", "ground", REF, what),
        Thermistor("temperature", "ground", "other" if what == "rail" else "air"),
    ]


def hall(cam: bool) -> Callable[[Random], Blocks]:
    """A Hall sensor with an open-collector output."""

    def build(rng: Random) -> Blocks:
        fed_by = pick(rng, (0.6, REF), (0.15, REF_8), (0.25, FEED))
        return [
            SupplyWire("supply", fed_by),
            ground(rng, 0.05),
            Hall("signal", "supply", "ground", fed_by, cam=cam),
        ]

    return build


def pulses(rng: Random) -> Blocks:
    """A sensor that sends serial pulses [j2716]."""
    return [SupplyWire("supply", REF), ground(rng), Pulses("signal", "supply", "ground", REF)]


def air_mass_three(rng: Random) -> Blocks:
    """An air-mass sensor with a voltage."""
    fed_by = pick(rng, (0.75, FEED), (0.25, REF))
    return [
        SupplyWire("supply", fed_by),
        ground(rng, 0.15 if fed_by == FEED else 0.0),
        Analogue("signal", "supply", "ground", fed_by, "air-mass"),
    ]


def air_mass_frequency_three(rng: Random) -> Blocks:
    """An air-mass sensor with a frequency."""
    fed_by = pick(rng, (0.75, FEED), (0.25, REF))
    return [
        SupplyWire("supply", fed_by),
        ground(rng, 0.15 if fed_by == FEED else 0.0),
        Frequency("signal", "supply", "ground", fed_by),
    ]


def air_mass_return(rng: Random) -> Blocks:
    """An air-mass sensor with a power ground and a signal ground."""
    output = Analogue("signal", "supply", "power.ground", FEED, "air-mass")
    output.reference = "ground"
    return [
        SupplyWire("supply", FEED),
        ReturnWire("power.ground", BODY if chance(rng, 0.6) else RAIL),
        ReturnWire("ground"),
        output,
    ]


def air_mass_thermistor_four(rng: Random) -> Blocks:
    """An air-mass sensor with a voltage and a thermistor."""
    return [*air_mass_three(rng), Thermistor("temperature", "ground", "air")]


def air_mass_frequency_four(rng: Random) -> Blocks:
    """An air-mass sensor with a frequency and a thermistor."""
    return [*air_mass_frequency_three(rng), Thermistor("temperature", "ground", "air")]


def air_mass_five(rng: Random) -> Blocks:
    """The same with a voltage, two grounds and a thermistor."""
    return [*air_mass_return(rng), Thermistor("temperature", "ground", "air")]


def air_mass_five_reference(rng: Random) -> Blocks:
    """Heated from the battery, its output a share of the 5 V that it is given too."""
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


def air_mass_frequency_five(rng: Random) -> Blocks:
    """The same with a frequency, two grounds and a thermistor."""
    output = Frequency("signal", "supply", "power.ground", FEED)
    output.reference = "ground"
    return [
        SupplyWire("supply", FEED),
        ReturnWire("power.ground", BODY if chance(rng, 0.6) else RAIL),
        ReturnWire("ground"),
        output,
        Thermistor("temperature", "ground", "air"),
    ]


def oxygen(_: Random) -> Blocks:
    """A heated oxygen cell with its own return."""
    return [
        SupplyWire("supply", FEED),
        Load("heater", "supply", "heater"),
        OxygenCell("cell"),
    ]


def oxygen_three(_: Random) -> Blocks:
    """A heated oxygen cell that returns through its shell."""
    return [
        SupplyWire("supply", FEED),
        Load("heater", "supply", "heater"),
        OxygenCell("cell", shell_ground=True),
    ]


def oxygen_two(_: Random) -> Blocks:
    """An oxygen cell without a heater."""
    return [OxygenCell("cell")]


def wide_range(trimmed: bool) -> Callable[[Random], Blocks]:
    """A wide-range oxygen cell, at times with a trimming resistor."""

    def build(_: Random) -> Blocks:
        return [
            SupplyWire("supply", FEED),
            Load("heater", "supply", "heater"),
            WideRangeCell("cell", trimmed=trimmed),
        ]

    return build
