import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.core.waveform.toothed_wheel import (
    OddEdge,
    WheelGap,
    WheelVerdict,
    toothed_wheel,
)
from backprobe.errors import ValueOutOfRange
from tests.core.waveform.signals import Array, sent_falling_edges, wheel_edges


def cranking(time: Array) -> Array:
    """Four cylinders on the starter: compression takes a fifth of the speed twice a turn."""
    return np.asarray(200.0 * (1.0 + 0.2 * np.sin(2.0 * np.pi * 2.0 * 200.0 / 60.0 * time)))


@given(
    st.integers(12, 72),
    st.integers(1, 3),
    st.floats(150.0, 6000.0),
    st.floats(-0.3, 0.3),
    st.integers(0, 10_000),
)
def test_missing_teeth_are_found_at_changing_speed(
    teeth: int, missing: int, speed: float, change: float, seed: int
) -> None:
    # The speed changes by up to 30 % within the record, edges scatter by 1 % of a pitch.
    turns = 6.0
    duration = turns * 60.0 / speed
    edges = wheel_edges(
        teeth=teeth,
        missing=range(teeth - missing, teeth),
        speed_rpm=lambda t: speed * (1.0 + change * t / duration),
        duration=duration,
        jitter=0.01 * 60.0 / speed / teeth,
        seed=seed,
    )
    found = toothed_wheel(edges)
    assert found.verdict is WheelVerdict.MISSING_TEETH
    assert found.turn_pitches == teeth
    assert found.gaps == (WheelGap(teeth - missing, missing),)
    assert found.single_faults == ()


@pytest.mark.parametrize(
    ("teeth", "missing", "gaps"),
    [
        (60, (58, 59), (WheelGap(58, 2),)),
        (36, (35,), (WheelGap(35, 1),)),
        (4, (3,), (WheelGap(3, 1),)),
        # Three gaps, two of them with a single tooth between: common practice, no source.
        (36, (0, 1, 3, 4, 20, 21), (WheelGap(15, 2), WheelGap(33, 2), WheelGap(36, 2))),
        (60, (17, 18, 58, 59), (WheelGap(39, 2), WheelGap(58, 2))),
        (36, (12, 34, 35), (WheelGap(34, 2), WheelGap(12, 1))),
    ],
)
def test_wheels_with_one_or_several_gaps(
    teeth: int, missing: tuple[int, ...], gaps: tuple[WheelGap, ...]
) -> None:
    found = toothed_wheel(wheel_edges(teeth=teeth, missing=missing, speed_rpm=900.0, duration=1.0))
    assert (found.verdict, found.turn_pitches) == (WheelVerdict.MISSING_TEETH, teeth)
    assert len(found.gaps) == len(gaps)
    assert sorted(gap.missing for gap in found.gaps) == sorted(gap.missing for gap in gaps)
    if len({gap.missing for gap in gaps}) == len(gaps):
        assert found.gaps == gaps


def test_an_added_tooth() -> None:
    edges = wheel_edges(teeth=12, missing=(), added=(4.4,), speed_rpm=900.0, duration=1.0)
    found = toothed_wheel(edges)
    assert (found.verdict, found.turn_pitches) == (WheelVerdict.ADDED_TEETH, 12)
    assert found.single_faults == ()
    # Tooth 1 is the one after the added tooth, so that this one sits after the last.
    assert found.added == pytest.approx((12.4,), abs=0.01)


def test_speed_is_the_mean_over_a_turn() -> None:
    # Constant acceleration: the mean speed over a turn is the speed in the middle of its time.
    edges = wheel_edges(speed_rpm=lambda t: 800.0 + 1500.0 * t, duration=1.0)
    found = toothed_wheel(edges)
    true = 800.0 + 1500.0 * found.speed_instants
    # 20 000 steps of integration and its interpolation: 1e-6.
    np.testing.assert_allclose(found.speed_rpm, true, rtol=1e-5)


def test_cranking_speed_that_changes_from_tooth_to_tooth() -> None:
    found = toothed_wheel(wheel_edges(speed_rpm=cranking, duration=2.0))
    assert (found.verdict, found.turn_pitches) == (WheelVerdict.MISSING_TEETH, 60)
    assert found.single_faults == ()
    # Twice a turn drops out of whole turns but for the change of turn time within it.
    assert np.ptp(found.speed_rpm) < 2.0 * 0.2 * 200.0 * 0.05


def test_a_lost_and_a_false_edge_are_placed() -> None:
    edges = wheel_edges(speed_rpm=1000.0, duration=1.0)
    at = np.searchsorted(edges, 0.5)
    false = edges[at + 20] + 0.4e-3
    damaged = np.sort(np.append(np.delete(edges, at), false))
    found = toothed_wheel(damaged)
    assert (found.verdict, found.turn_pitches) == (WheelVerdict.MISSING_TEETH, 60)
    assert [fault.kind for fault in found.single_faults] == [OddEdge.LOST, OddEdge.FALSE]
    # 1000 per minute: a turn takes 60 ms, a tooth 1 ms; tooth 1 passes at whole turns.
    assert found.single_faults[0].instant == pytest.approx(edges[at], abs=1e-6)
    assert found.single_faults[0].tooth == round(edges[at] / 1e-3) % 60 + 1
    assert found.single_faults[1].tooth == pytest.approx(false / 1e-3 % 60 + 1, abs=0.05)


def test_two_percent_of_edges_lost() -> None:
    rng = np.random.default_rng(2)
    edges = wheel_edges(speed_rpm=1000.0, duration=2.0)
    kept = edges[rng.uniform(size=edges.size) > 0.02]
    found = toothed_wheel(kept)
    assert (found.verdict, found.turn_pitches) == (WheelVerdict.MISSING_TEETH, 60)
    assert found.gaps == (WheelGap(58, 2),)
    n_lost = sum(fault.kind is OddEdge.LOST for fault in found.single_faults)
    # One that is lost beside another, or at an end of the record, may not be seen.
    assert abs(n_lost - (edges.size - kept.size)) <= 2


def test_even_teeth_tell_no_turn_unless_it_is_known() -> None:
    edges = wheel_edges(teeth=48, missing=(), speed_rpm=600.0, duration=1.0)
    found = toothed_wheel(np.delete(edges, 200))
    assert (found.verdict, found.turn_pitches) == (WheelVerdict.EVEN, 0)
    assert found.speed_rpm.size == 0
    assert [fault.kind for fault in found.single_faults] == [OddEdge.LOST]
    known = toothed_wheel(edges, known_turn_pitches=48)
    np.testing.assert_allclose(known.speed_rpm, 600.0, rtol=1e-6)


@pytest.mark.parametrize("turns", [0.3, 0.9, 1.6])
def test_less_than_two_turns_claim_no_gap(turns: float) -> None:
    edges = wheel_edges(speed_rpm=600.0, duration=turns * 0.1)
    found = toothed_wheel(edges)
    # With one gap or none in sight it may be an even wheel that lost edges: no turn is claimed.
    assert found.verdict in (WheelVerdict.TOO_SHORT, WheelVerdict.EVEN)
    assert found.turn_pitches == 0


def test_other_kinds_of_signal_are_no_wheel() -> None:
    rng = np.random.default_rng(8)
    others: dict[str, Array] = {
        "sent": sent_falling_edges(rng.integers(0, 16, (60, 6)).tolist()),
        "irregular": np.cumsum(rng.exponential(1e-3, 3000)),
        "serial": np.cumsum(rng.integers(2, 10, 3000) * 26e-6),
        "bouncing": np.cumsum(10.0 ** rng.uniform(-5.0, -2.0, 500), dtype=np.float64),
    }
    for name, edges in others.items():
        assert toothed_wheel(edges).verdict is WheelVerdict.IRREGULAR, name


def test_a_few_edges_are_too_short() -> None:
    assert toothed_wheel(np.linspace(0.0, 0.01, 11)).verdict is WheelVerdict.TOO_SHORT


def test_instants_that_go_back_are_refused() -> None:
    with pytest.raises(ValueOutOfRange, match="toothed wheel: the instants of edges don't rise"):
        toothed_wheel(np.array([0.0, 1.0, 1.0]))


def test_marks_that_sit_evenly_repeat_within_a_turn_unless_it_is_known() -> None:
    edges = wheel_edges(missing=(28, 29, 58, 59), speed_rpm=900.0, duration=1.0)
    assert toothed_wheel(edges).turn_pitches == 30
    known = toothed_wheel(edges, known_turn_pitches=60)
    assert known.turn_pitches == 60
    assert known.gaps == (WheelGap(28, 2), WheelGap(58, 2))
    np.testing.assert_allclose(known.speed_rpm, 900.0, rtol=1e-5)


@pytest.mark.parametrize("kind", ["between", "bounce"])
def test_a_hundredth_of_false_edges(kind: str) -> None:
    rng = np.random.default_rng(9)
    edges = wheel_edges(speed_rpm=900.0, duration=3.0)
    # Some pitches apart: the pitch is told from five times, of which most must be whole.
    at = 10 + 6 * rng.choice((edges.size - 20) // 6, edges.size // 100, replace=False)
    part = rng.uniform(0.1, 0.9, at.size) if kind == "between" else np.full(at.size, 0.02)
    false = edges[at] + part * (edges[at + 1] - edges[at])
    found = toothed_wheel(np.sort(np.concatenate([edges, false])))
    assert (found.verdict, found.turn_pitches) == (WheelVerdict.MISSING_TEETH, 60)
    assert found.gaps == (WheelGap(58, 2),)
    assert [fault.kind for fault in found.single_faults] == [OddEdge.FALSE] * at.size


def test_so_many_false_edges_that_the_count_slips() -> None:
    rng = np.random.default_rng(10)
    edges = wheel_edges(speed_rpm=900.0, duration=3.0)
    false = rng.uniform(edges[0], edges[-1], edges.size // 10)
    found = toothed_wheel(np.unique(np.concatenate([edges, false])))
    assert found.verdict is WheelVerdict.IRREGULAR
