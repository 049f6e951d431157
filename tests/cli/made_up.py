"""A job and answers made by hand, for tests of how things are said."""

from dataclasses import replace

from backprobe.job import Connector, Indication, Job, Round, Terminal, Vehicle
from backprobe.job.model import Code, Fitted
from backprobe.services.answer import (
    Answer,
    CircuitAnswer,
    Estimate,
    FaultAnswer,
    Measurement,
    Misfit,
    NextReading,
    Reason,
    RuledOut,
    TerminalAnswer,
)


def volts(**pins: float) -> dict[str, Indication]:
    """Readings by pin, pins spelled p1, p2, ..."""
    return {pin.removeprefix("p"): Indication(value) for pin, value in pins.items()}


def made_up_job() -> Job:
    """Four wires, an unplugged round, a plugged one, and a void one between them."""
    return Job(
        title="Stumbles for a minute after a cold start",
        complaint="Clears by itself [when warm]",
        connector=Connector(
            "intake sensor",
            "unknown",
            (
                Terminal("1", "GN/WH", "signal-analogue"),
                Terminal("2", "BU", "supply-battery"),
                Terminal("3", "BN/BK"),
                Terminal("4", "RD"),
            ),
        ),
        vehicle=Vehicle(description="1.6 litre petrol hatchback"),
        codes=(Code("P0113"),),
        rounds=(
            Round(
                "A",
                plugged=False,
                key="on",
                battery_volts=Indication(12.58),
                black_lead_check=Indication(12.57),
                volts={
                    "1": Indication(5.01),
                    "2": Indication(4.99),
                    "3": Indication(0.012, written="12 mV"),
                    "4": Indication(0.412),
                },
                volts_loaded=volts(p1=1.56),
                sensor_ohms={("1", "3"): Indication(2210.0, written="2k21")},
            ),
            Round(
                "B",
                plugged=True,
                key="on",
                black_lead="a painted bolt",
                volts=volts(p1=4.61, p3=-0.37),
                void="the bolt was painted",
            ),
            Round(
                "C",
                plugged=True,
                key="run",
                rpm=2500,
                action="snap throttle",
                volts=volts(p1=2.58, p3=0.013),
                volts_high=volts(p4=4.31),
                hertz={"4": Indication(1812.0)},
                duty_percent={"4": Indication(48.0)},
                harness_ohms={"2": Indication(float("inf"), over_range=True, written="OL")},
                ambient_celsius=19.0,
                scan={"intake air temperature": Indication(19.0)},
                note="helper on the pedal",
                fitted=(Fitted("1", "3", 2200.0),),
            ),
        ),
    )


def made_up_answer() -> Answer:
    """Undecided between a broken ground and an open thermistor; four next readings."""
    return Answer(
        file="stumble.toml",
        terminals=(
            TerminalAnswer(
                "1",
                "signal-thermistor",
                0.996,
                {"signal-thermistor": 0.996, "signal-switch": 0.004},
            ),
            TerminalAnswer(
                "2", "supply-regulated", 0.93, {"supply-regulated": 0.93, "not-used": 0.07}
            ),
            TerminalAnswer("3", "sensor-ground", 0.9999, {"sensor-ground": 0.9999}),
            TerminalAnswer(
                "4",
                "signal-analogue",
                0.52,
                {"signal-analogue": 0.52, "signal-switching": 0.45, "not-used": 0.03},
            ),
        ),
        circuits=(
            CircuitAnswer("air mass, voltage, with thermistor", 0.9),
            CircuitAnswer("pressure, with thermistor", 0.08),
        ),
        faults=(
            FaultAnswer("open:sensor-ground", 0.62, ("3",)),
            FaultAnswer("sensor-open:signal-thermistor", 0.31, ("1",)),
            FaultAnswer("none", 0.05),
            FaultAnswer("swapped:sensor-ground+signal-thermistor", 0.02, ("3", "1")),
        ),
        measurement=Measurement(0.998, {"A": 0.999, "C": 0.999}, ("round B is void",)),
        estimates=(
            Estimate("supply", "A", "2", 4.993, 4.972, 5.014, "V"),
            Estimate("thermistor resistance", "A", "1", 2210.0, 2050.0, 2380.0, "ohm"),
            Estimate("sensor ground offset", "C", "3", 0.0124, 0.0101, 0.0147, "V"),
        ),
        misfit=Misfit(0.4),
        reasons=(
            Reason(
                "terminal 1 is signal-thermistor",
                "A volts_loaded 1",
                31.0,
                "5.01 V fall to 1.56 V with 1 kohm: fed through about 2.2 kohm",
            ),
            Reason("terminal 3 is sensor-ground", "A volts 3", 14.2, "12 mV with key on"),
        ),
        next=(
            NextReading(
                plugged=True,
                key="on",
                rpm=0,
                action="",
                quantity="volts",
                terminal="3",
                bits=0.82,
                minutes=1.7,
                text="Both wires at 5 V means the return is open; 0 V clears the return.",
                cautions=("Key off before you plug or unplug.",),
                steps=("Key off.", "Plug the sensor in until it latches.", "Key on."),
            ),
            NextReading(
                plugged=False,
                key="on",
                rpm=0,
                action="",
                quantity="sensor_ohms",
                terminal="1-3",
                bits=0.3,
                minutes=0.6,
                text="Over range means an open sensor.",
                cautions=("Key off before you plug or unplug.", "No ohms on a live circuit."),
                steps=("Meter on ohms.",),
            ),
        ),
        ruled_out=(
            RuledOut(
                "short-to-ground:signal-thermistor",
                ("1",),
                "A volts 1",
                24.0,
                "5.01 V stand on the wire",
            ),
        ),
        evidence={
            "terminal 3 is sensor-ground": (
                Reason("terminal 3 is sensor-ground", "A volts 3", 14.2, "12 mV with key on"),
                Reason("terminal 3 is sensor-ground", "C volts 3", 16.1, "13 mV running"),
                Reason("terminal 3 is sensor-ground", "A sensor_ohms 1-3", -2.0, ""),
            ),
            "fault open:sensor-ground": (
                Reason("fault open:sensor-ground", "C volts 1", 6.0, "2.58 V, no full pull-up"),
            ),
        },
        settled=False,
        effective_sample_size=1834.0,
        stable=True,
    )


def doubtful_answer() -> Answer:
    """The same with a black lead that cannot be trusted, readings that fit nothing, few samples."""
    return replace(
        made_up_answer(),
        measurement=Measurement(
            0.12, {"A": 0.12, "C": 0.97}, ("Round A reads 0.38 V low on every wire",)
        ),
        misfit=Misfit(0.0004, ("A volts 3", "C volts 4")),
        effective_sample_size=23.0,
        stable=False,
    )
