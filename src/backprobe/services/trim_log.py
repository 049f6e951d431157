"""Fuel trims by speed and load, gathered from a log of the control unit."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from backprobe.core.engine.effective_samples import effective_samples
from backprobe.core.engine.trim_pattern import AIR_MASS, EITHER, IDLE_FLOW, REFERENCE_DENSITY
from backprobe.errors import UsageError
from backprobe.services.logged_series import Logged, Series
from backprobe.services.trim_table import LIMIT, LOADS, NEAR_LIMIT, SPEEDS, TrimCell, TrimTable

Array: TypeAlias = NDArray[np.float64]

LEAST_UNCERTAINTY: Final = 0.5  # per cent
# Warm, closed loop; common practice: from about 70 degC on all trims count.
WARM_DEGC: Final = 70.0
CLOSED_LOOP: Final = 2.0  # of the fuel system status [j1979]
SLOW_OLDEST: Final = 60.0  # s; what changes slowly is asked for seldom
LEAST_VALUES: Final = 5


def table_from_log(
    series: Sequence[Series], displacement_l: float | None = None, limit: float = LIMIT
) -> TrimTable:
    """Gather trims from a log into cells of speed and load.

    Parameters
    ----------
    series : sequence of Series
        Engine speed, trims, air mass flow (or a load, or manifold pressure); coolant temperature
        and fuel system status where they were logged.
    displacement_l : float or None
        Of the engine; judged by the air flow at idle where it isn't known.
    limit : float
        Per cent at which the control unit stops.

    Raises
    ------
    UsageError
        A quantity that is needed isn't in the log, or no stretch of it can be used.
    """
    logged = Logged(series)
    banks = [bank for bank in (1, 2) if logged.has(f"short fuel trim bank {bank}")]
    if not banks:
        raise UsageError(
            "The log holds no short fuel trim.",
            remedy="Log short and long fuel trim with engine speed and air mass flow.",
        )
    clock = logged.times(f"short fuel trim bank {banks[0]}")
    speed = logged.at("engine speed", clock)
    remarks: list[str] = []
    flow, metering = _flow(logged, clock, speed, displacement_l, remarks)
    is_used = _usable(logged, clock, speed, flow, remarks)
    totals, stands = _totals(logged, clock, banks, limit, remarks)
    is_used &= np.isfinite(totals).all(axis=0)
    cells = tuple(_cells(speed, flow, totals, stands, is_used))
    if not cells:
        raise UsageError(
            "No stretch of the log can be used for trims.",
            remedy=(
                f"Log a warm engine in closed loop, at least {LEAST_VALUES} values at a steady"
                " speed and load."
            ),
        )
    return TrimTable(cells, metering, tuple(remarks))


def _flow(
    logged: Logged,
    clock: Array,
    speed: Array,
    displacement_l: float | None,
    remarks: list[str],
) -> tuple[Array, str]:
    """Air flow, g/s per litre, and how the control unit meters it."""
    per_stroke = REFERENCE_DENSITY * speed / 120.0  # g/s per litre at full load
    if logged.has("air mass flow"):
        flow = logged.at("air mass flow", clock)
        litres = displacement_l
        if litres is None:
            idle = flow[(speed > 400.0) & (speed < 1100.0) & np.isfinite(flow)]
            if not idle.size:
                raise UsageError(
                    "Without idle in the log the engine's size isn't told by it.",
                    remedy="Give the displacement.",
                )
            litres = float(np.median(idle)) / IDLE_FLOW
            remarks.append(
                f"Displacement taken as {litres:.1f} l from the air flow at idle; give the"
                " true one to be surer."
            )
        return np.asarray(flow / litres), AIR_MASS
    pressed = logged.has("manifold pressure")
    metering = "manifold pressure" if pressed else EITHER
    if logged.has("absolute load"):
        return np.asarray(logged.at("absolute load", clock) / 100.0 * per_stroke), metering
    if pressed:
        share = logged.at("manifold pressure", clock) / 101.325
        return np.asarray(0.8 * share * per_stroke), metering  # efficiency 0.8, a usual one
    if logged.has("calculated load"):
        # A share of the most at this speed; 0.85 of the reference is a usual most.
        return np.asarray(0.85 * logged.at("calculated load", clock) / 100.0 * per_stroke), metering
    raise UsageError(
        "The log tells nothing of the load.",
        remedy="Log air mass flow, manifold pressure or a load beside the trims.",
    )


def _usable(
    logged: Logged, clock: Array, speed: Array, flow: Array, remarks: list[str]
) -> NDArray[np.bool_]:
    """Running, warm, in closed loop, and steady for a second."""
    is_used = (speed > 400.0) & (flow > 0.05)
    if logged.has("coolant temperature"):
        is_warm = logged.at("coolant temperature", clock, SLOW_OLDEST) >= WARM_DEGC
        _note(remarks, is_used & ~is_warm, f"not known to be at {WARM_DEGC:g} °C coolant or more")
        is_used &= is_warm
    else:
        remarks.append("Coolant temperature isn't logged: whether it was warm isn't known.")
    status = "fuel system status"
    if logged.has(status):
        is_open = logged.at(status, clock, SLOW_OLDEST) != CLOSED_LOOP
        _note(remarks, is_used & is_open, "not in closed loop")
        is_used &= ~is_open
    is_moving = ~(_is_steady(clock, speed, 0.10) & _is_steady(clock, flow, 0.25))
    _note(remarks, is_used & is_moving, "while speed or load moved")
    return np.asarray(is_used & ~is_moving)


def _note(remarks: list[str], is_out: NDArray[np.bool_], why: str) -> None:
    if is_out.any():
        remarks.append(f"{int(is_out.sum())} values {why} are left out.")


def _is_steady(clock: Array, values: Array, share: float) -> NDArray[np.bool_]:
    """Whether a value a second before lies within a share of this one."""
    before = values[np.maximum(np.searchsorted(clock, clock - 1.0), 0)]
    return np.asarray(np.abs(values - before) <= share * np.abs(values))


def _totals(
    logged: Logged, clock: Array, banks: Sequence[int], limit: float, remarks: list[str]
) -> tuple[Array, NDArray[np.bool_]]:
    """Short plus long of each bank, per cent, and where either stands at the limit."""
    totals, stands = [], []
    for bank in banks:
        short = logged.at(f"short fuel trim bank {bank}", clock)
        total, most = short, np.abs(short)
        if logged.has(f"long fuel trim bank {bank}"):
            long = logged.at(f"long fuel trim bank {bank}", clock)
            total, most = short + long, np.maximum(most, np.abs(long))
        else:
            remarks.append(
                f"Long fuel trim of bank {bank} isn't logged: what was learned is missing."
            )
        totals.append(total)
        stands.append(most >= limit - NEAR_LIMIT)
    return np.array(totals), np.array(stands)


def _cells(
    speed: Array,
    flow: Array,
    totals: Array,
    stands: NDArray[np.bool_],
    is_used: NDArray[np.bool_],
) -> list[TrimCell]:
    load = flow * 120.0 / (REFERENCE_DENSITY * np.maximum(speed, 1.0))
    row, column = np.digitize(speed, SPEEDS[1:-1]), np.digitize(load, LOADS[1:-1])
    found = []
    for at_speed in range(len(SPEEDS) - 1):
        for at_load in range(len(LOADS) - 1):
            here = is_used & (row == at_speed) & (column == at_load)
            if here.sum() < LEAST_VALUES:
                continue
            mean_speed, mean_flow = float(speed[here].mean()), float(flow[here].mean())
            worth = [effective_samples(bank[here]) for bank in totals]
            spread = [
                float(np.hypot(bank[here].std(ddof=1) / np.sqrt(n), LEAST_UNCERTAINTY))
                for bank, n in zip(totals, worth, strict=True)
            ]
            found.append(
                TrimCell(
                    _cell_name(mean_speed, float(load[here].mean())),
                    mean_speed,
                    mean_flow,
                    tuple(float(bank[here].mean()) for bank in totals),
                    tuple(spread),
                    tuple(bool(bank[here].mean() > 0.5) for bank in stands),
                    int(here.sum()),
                    min(worth),
                )
            )
    return found


def _cell_name(speed: float, load: float) -> str:
    if speed < SPEEDS[1] and load < LOADS[1]:
        return "idle"
    return f"{round(speed, -1):.0f} rpm, {100 * load:.0f} % load"
