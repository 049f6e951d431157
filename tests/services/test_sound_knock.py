"""A healthy knock sensor reads nearly like a dead one; that alone is no reason to call it dead.

Facts of the trade (common practice, no source): a piezo ring reads OL on most hand-held meters, as
does a broken one; its inputs stand at 0 V or at a weak bias, at one end or at both; a meter's AC
range hardly sees its noise at idle. So nothing but the share of bad ones is left to go by.
"""

from backprobe.job import Connector, Indication, Job, Round, Terminal
from backprobe.services.answer import Answer
from backprobe.services.explain import explain

OPEN = Indication(float("inf"), over_range=True)


def read(first: float, second: float) -> dict[str, Indication]:
    return {"1": Indication(first, written=f"{first:.3f}"), "2": Indication(second)}


def sheet(
    volts: tuple[float, float], loaded: tuple[float, float] | None = None, ohms: float | None = None
) -> Job:
    """Unplugged, plugged, idling; the bias doesn't care for the sensor."""
    battery, running = Indication(12.4, written="12.40"), Indication(14.1, written="14.10")
    return Job(
        "two wires",
        Connector("sensor", terminals=(Terminal("1"), Terminal("2"))),
        rounds=(
            Round(
                "A",
                plugged=False,
                key="on",
                battery_volts=battery,
                black_lead_check=battery,
                volts=read(*volts),
                volts_loaded=read(*loaded) if loaded else {},
                sensor_ohms={("1", "2"): OPEN if ohms is None else Indication(ohms)},
            ),
            Round(
                "B",
                plugged=True,
                key="on",
                battery_volts=battery,
                black_lead_check=battery,
                volts=read(*volts),
            ),
            Round(
                "C",
                plugged=True,
                key="run",
                rpm=800,
                battery_volts=running,
                black_lead_check=running,
                volts=read(*volts),
                volts_ac=read(0.004, 0.004),
            ),
        ),
    )


def first(answer: Answer) -> tuple[str, str]:
    return answer.circuits[0].circuit, answer.faults[0].fault


# 1 kohm on 2.3 V behind 33 kohm: 2.3 x 1 / 34 = 0.068 V (Ohm's law).
BIASED = sheet((2.3, 2.305), (0.068, 0.068))


def test_a_biased_knock_sensor_that_reads_ol_is_not_called_dead() -> None:
    answer = explain(BIASED)
    assert first(answer) == ("knock, piezo", "none")


def test_a_dead_sensor_stays_a_possibility() -> None:
    # No reading here tells it from a sound one; it must be listed and must not be likely.
    answer = explain(BIASED)
    dead = next(f.probability for f in answer.faults if f.fault == "sensor-open:generator-signal")
    assert 0.02 < dead < 0.5


# Both ends read alike to a millivolt: wires with a megohm behind them wouldn't.
def test_a_knock_sensor_weakly_at_ground_with_both_ends_is_sound() -> None:
    assert first(explain(sheet((0.004, 0.004), ohms=5e6))) == ("knock, piezo", "none")


def test_one_at_ground_that_reads_ol_may_well_be_sound() -> None:
    answer = explain(sheet((0.004, 0.004)))
    assert next(f.probability for f in answer.faults if f.fault == "none") > 0.25
