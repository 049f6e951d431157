"""Sound sensors whose readings stay from key-on to idle are no stuck ones.

Facts of the trade (common practice, no source): a barometer, a diesel's charge pressure and a lever
on its stop read the same with the engine off and idling; some levers fall as they open and rest
high; two tracks of one pedal need not have the same resistance; a coolant sensor changes by little
while an engine idles for a minute, and a coil of a pick-up is not told from it by ohms alone.
"""

from collections.abc import Mapping

import pytest

from backprobe.job import Connector, Indication, Job, Round, Terminal
from backprobe.services.answer import Answer
from backprobe.services.explain import explain


def read(values: Mapping[str, str]) -> dict[str, Indication]:
    return {pin: Indication(float(shown), written=shown) for pin, shown in values.items()}


def sheet(
    unplugged: Mapping[str, str],
    loaded: Mapping[str, str],
    key_on: Mapping[str, str],
    idle: Mapping[str, str],
    ohms: Mapping[tuple[str, str], float] | None = None,
) -> Job:
    """Unplugged, plugged, idling."""
    battery, running = Indication(12.4, written="12.40"), Indication(14.1, written="14.10")
    return Job(
        "a sound sensor",
        Connector("sensor", terminals=tuple(Terminal(pin) for pin in unplugged)),
        rounds=(
            Round(
                "A",
                plugged=False,
                key="on",
                battery_volts=battery,
                black_lead_check=battery,
                volts=read(unplugged),
                volts_loaded=read(loaded),
                sensor_ohms={pair: Indication(ohm) for pair, ohm in (ohms or {}).items()},
            ),
            Round(
                "B",
                plugged=True,
                key="on",
                battery_volts=battery,
                black_lead_check=battery,
                volts=read(key_on),
            ),
            Round(
                "C",
                plugged=True,
                key="run",
                rpm=800,
                battery_volts=running,
                black_lead_check=running,
                volts=read(idle),
            ),
        ),
    )


def says_sound(answer: Answer, circuit: str) -> bool:
    return answer.faults[0].fault == "none" and answer.circuits[0].circuit == circuit


@pytest.mark.parametrize("shown", ["1.98", "4.05"])
def test_a_barometer_reads_the_same_at_idle(shown: str) -> None:
    # Of 1 bar full scale it reads 4 V and more, of 2 to 4 bar 1.2 to 2.6 V.
    answer = explain(
        sheet(
            {"1": "0.003", "2": "5.01", "3": "0.008", "4": "4.98"},
            {"2": "5.00", "4": "1.55"},
            {"1": shown, "2": "5.01", "3": "0.012", "4": "2.62"},
            {"1": shown, "2": "5.01", "3": "0.020", "4": "2.51"},
        )
    )
    assert says_sound(answer, "pressure, ratiometric, with thermistor")


@pytest.mark.parametrize(
    ("wiper", "to_supply", "to_ground"), [("0.71", 1740, 460), ("4.42", 450, 1770)]
)
def test_a_lever_rests_low_or_high(wiper: str, to_supply: float, to_ground: float) -> None:
    # A track of 2 kohm and a wiper of 150 ohm; the wiper's share of it is that of its voltage.
    answer = explain(
        sheet(
            {"1": "5.01", "2": "0.004", "3": "0.009"},
            {"1": "5.00"},
            {"1": "5.01", "2": wiper, "3": "0.010"},
            {"1": "5.02", "2": wiper, "3": "0.019"},
            {("1", "3"): 2000.0, ("1", "2"): to_supply + 150, ("2", "3"): to_ground + 150},
        )
    )
    assert says_sound(answer, "position, potentiometer")


@pytest.mark.parametrize("second", [2700.0])
def test_two_tracks_of_a_pedal_have_resistances_of_their_own(second: float) -> None:
    # Rest at a sixth and a twelfth of the supply; 1.6 kohm and another resistance from end to end.
    low, high = 1.0 / 6.0, 1.0 / 12.0
    pins = {"supply": "1", "signal": "2", "ground": "3", "supply 2": "4", "signal 2": "5", "g": "6"}
    ohms = {
        (pins["supply"], pins["ground"]): 1600.0,
        (pins["supply"], pins["signal"]): 1600.0 * (1 - low) + 120.0,
        (pins["signal"], pins["ground"]): 1600.0 * low + 120.0,
        (pins["supply 2"], pins["g"]): second,
        (pins["supply 2"], pins["signal 2"]): second * (1 - high) + 90.0,
        (pins["signal 2"], pins["g"]): second * high + 90.0,
    }
    answer = explain(
        sheet(
            {"1": "5.01", "2": "0.003", "3": "0.008", "4": "5.01", "5": "0.003", "6": "0.008"},
            {"1": "5.01", "4": "5.01"},
            {"1": "5.01", "2": "0.843", "3": "0.010", "4": "5.01", "5": "0.427", "6": "0.010"},
            {"1": "5.02", "2": "0.851", "3": "0.019", "4": "5.02", "5": "0.436", "6": "0.019"},
            ohms,
        )
    )
    assert says_sound(answer, "position, two tracks")


def test_a_temperature_that_hardly_moves_is_no_coil() -> None:
    # 2.2 kohm to 5 V; a coil's alternating voltage at idle was not looked for.
    answer = explain(
        sheet(
            {"1": "4.99", "2": "0.006"},
            {"1": "1.56"},
            {"1": "2.66", "2": "0.009"},
            {"1": "2.64", "2": "0.017"},
        )
    )
    assert says_sound(answer, "temperature, thermistor")
