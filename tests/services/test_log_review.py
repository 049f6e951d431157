import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.recordings.log import Log
from backprobe.services.log_review import review_log
from backprobe.services.log_sampling import sampling_of
from backprobe.services.log_states import RULES, held_states
from tests.services.made_logs import drive, made_times, series, with_series

N = 600


def suspected(log: Log) -> dict[str, str]:
    return {one.series: one.what for one in review_log(log).suspicions}


def test_a_sound_log_raises_no_suspicion() -> None:
    assert suspected(drive()) == {}


def test_states_are_found_where_they_were_made() -> None:
    # By construction; at changes the rules wait until the speed is steady for a second.
    found = held_states(drive())
    assert [one.state for one in found] == [
        "key on, engine off",
        "cranking",
        "idle",
        "steady 2500",
        "idle",
        "snap throttle",
        "idle",
    ]
    starts, ends = [one.start for one in found], [one.end for one in found]
    assert starts == pytest.approx([0.0, 10.0, 12.0, 51.0, 81.0, 89.0, 92.6], abs=0.21)
    assert ends == pytest.approx([9.8, 10.8, 48.8, 78.8, 88.8, 91.8, 119.8], abs=0.21)
    assert {one.state for one in found} <= {rule.name for rule in RULES}


def test_full_load_needs_a_road() -> None:
    t = made_times(100)
    log = Log(
        (
            series("engine speed", "1/min", np.linspace(2000, 5000, t.size)),
            series("vehicle speed", "km/h", np.linspace(40, 90, t.size)),
            series("throttle position", "%", np.where(t > 5, 99.0, 20.0)),
        )
    )
    (state,) = held_states(log)
    assert state.state == "full load"
    assert state.start == pytest.approx(5.2)
    standing = with_series(log, series("vehicle speed", "km/h", np.zeros(t.size)))
    assert "full load" not in {one.state for one in held_states(standing)}


def test_no_state_reaches_over_a_gap() -> None:
    t = made_times(100)
    late = np.where(t > 10.0, t + 30.0, t)
    log = Log((series("engine speed", "1/min", np.full(t.size, 800.0), late),))
    ends = [instant for one in held_states(log) for instant in (one.start, one.end)]
    assert ends == pytest.approx([0.0, 10.0, 40.2, 49.8])


def test_a_log_without_what_rules_need_has_no_states() -> None:
    assert held_states(Log((series("coolant temperature", "degC", np.full(9, 80.0)),))) == ()


@pytest.mark.parametrize("value", [-40.0, -39.5])
def test_an_open_thermistor_logs_the_end_of_the_scale(value: float) -> None:
    # SAE J1979: the scale of temperatures begins at -40 degC.
    log = with_series(drive(), series("intake air temperature", "degC", np.full(N, value)))
    what = suspected(log)["intake air temperature"]
    assert "the end of its scale: the control unit sees an open circuit" in what


def test_a_shorted_thermistor_stands_hot() -> None:
    # Makers' limits of a shorted circuit: above 128 to 149 degC (quoted from makers' texts).
    log = with_series(drive(), series("intake air temperature", "degC", np.full(N, 140.0)))
    assert "shorted to ground" in suspected(log)["intake air temperature"]
    moving = 135.0 + 10.0 * np.sin(made_times(N) / 10.0)
    log = with_series(drive(), series("oil temperature", "degC", moving))
    assert suspected(log) == {}


def test_a_part_of_a_log_may_be_suspicious() -> None:
    t = made_times(N)
    values = np.where((t > 30) & (t < 40), -40.0, 25.0 + t / 20.0)
    log = with_series(drive(), series("intake air temperature", "degC", values))
    (found,) = review_log(log).suspicions
    assert [found.start, found.end] == pytest.approx([30.2, 39.8])


def test_air_that_does_not_follow_the_speed_is_substituted() -> None:
    log = drive()
    (flow,) = [one for one in log.series if one.quantity == "air mass flow"]
    frozen = np.where((flow.times > 45) & (flow.times < 60), 3.1, flow.values)
    found = review_log(with_series(log, series("air mass flow", "g/s", frozen))).suspicions
    assert len(found) == 1
    assert "does not move for 15 s while the engine speed changes by 1700 rpm" in found[0].what
    assert found[0].sureness == "likely"


def test_a_steady_value_at_a_steady_speed_is_no_suspicion() -> None:
    log = drive()
    (flow,) = [one for one in log.series if one.quantity == "air mass flow"]
    still = np.where((flow.times > 15) & (flow.times < 45), 3.1, flow.values)
    assert suspected(with_series(log, series("air mass flow", "g/s", still))) == {}


def test_a_round_temperature_that_never_moves_is_possible() -> None:
    log = with_series(drive(), series("coolant temperature", "degC", np.full(N, 80.0)))
    (found,) = review_log(log).suspicions
    assert found.sureness == "possible"
    assert "exactly 80 °C for 120 s while the engine runs" in found.what
    off = with_series(log, series("engine speed", "1/min", np.zeros(N)))
    assert "coolant temperature" not in suspected(off)


@pytest.mark.parametrize(("volts", "words"), [(0.02, "near 0 V"), (5.0, "near 5 V")])
def test_an_input_at_its_end(volts: float, words: str) -> None:
    log = with_series(drive(), series("air mass flow volts", "V", np.full(N, volts)))
    assert words in suspected(log)["air mass flow volts"]


def test_a_position_at_its_limit_all_the_time() -> None:
    log = with_series(drive(), series("pedal position", "%", np.zeros(N)))
    assert "exactly 0 % all the time" in suspected(log)["pedal position"]


def test_sampling_and_gaps() -> None:
    t = made_times(50)
    shifted = np.where(t >= 5.0, t + 3.0, t)
    found = sampling_of(series("engine speed", "1/min", np.zeros(50), shifted))
    assert found.interval == pytest.approx(0.2)
    assert found.n_gap == 1
    assert [found.gaps[0].start, found.gaps[0].end] == pytest.approx([4.8, 8.0])


@given(
    st.lists(st.floats(0.05, 1.0), min_size=2, max_size=60),
)
def test_gaps_are_those_far_beyond_the_usual_interval(steps: list[float]) -> None:
    usual = float(np.median(steps))
    expected = sum(step > 5.0 * usual for step in steps)
    t = np.concatenate((np.zeros(1), np.cumsum(steps)))
    found = sampling_of(series("x", "", np.zeros(t.size), t))
    # Sums of steps are rounded; none lies within that of the limit but by chance of 1e-9.
    assert abs(found.n_gap - expected) <= sum(abs(s - 5.0 * usual) < 1e-9 for s in steps)
    assert found.interval_low <= found.interval <= found.interval_high


def test_times_with_few_digits_do_not_make_gaps_of_everything() -> None:
    t = np.asarray(np.repeat(np.arange(10.0), 4), dtype=np.float64)  # four values share each second
    found = sampling_of(series("x", "", np.zeros(40), t))
    assert found.interval == pytest.approx(9.0 / 39.0)
    assert found.n_gap == 0


def test_slow_logging_is_remarked() -> None:
    t = np.asarray(np.arange(20) * 1.0, dtype=np.float64)
    review = review_log(Log((series("engine speed", "1/min", np.full(20, 800.0), t),)))
    assert "Each value comes every 1 s" in review.remarks[0]
