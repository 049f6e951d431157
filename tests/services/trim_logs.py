"""Logs of made-up drives, as a control unit would report them one item after the other."""

import numpy as np

from backprobe.recordings.log import LogSeries

# Seconds, 1/min, g/s of a 2.0 litre engine, total trim in per cent of either bank.
DRIVE = (
    (0.0, 60.0, 750.0, 2.6, 22.0),
    (60.0, 110.0, 2500.0, 10.0, 5.0),
    (110.0, 170.0, 3000.0, 38.0, 1.0),
)


def series(name: str, unit: str, times: np.ndarray, values: np.ndarray) -> LogSeries:
    return LogSeries(name, name, unit, times.astype(np.float64), values.astype(np.float64))


def drive_log(
    *, coolant: float = 88.0, seed: int = 1, second_bank: float | None = None, memory: float = 0.9
) -> list[LogSeries]:
    """Idle, 2500 without load, pulling; long trim holds most of it, the short one swings."""
    rng, clock = np.random.default_rng(seed), np.arange(0.0, 170.0, 0.5)
    rows = np.searchsorted([end for _, end, *_ in DRIVE], clock, side="right").clip(0, 2)
    speed, flow, trim = (np.array([row[column] for row in DRIVE])[rows] for column in (2, 3, 4))
    swing, step = np.zeros(len(clock)), rng.normal(0.0, 2.0, len(clock))
    for row in range(1, len(clock)):
        swing[row] = memory * swing[row - 1] + step[row] * np.sqrt(1.0 - memory**2)
    found = [
        series("engine speed", "1/min", clock + 0.05, speed + rng.normal(0.0, 8.0, len(clock))),
        series("air mass flow", "g/s", clock + 0.1, flow * (1 + rng.normal(0, 0.01, len(clock)))),
        series("short fuel trim bank 1", "%", clock + 0.2, 0.2 * trim + swing),
        series("long fuel trim bank 1", "%", clock + 0.3, 0.8 * trim),
        series("coolant temperature", "degC", clock[::10], np.full(len(clock[::10]), coolant)),
    ]
    if second_bank is not None:
        found += [
            series("short fuel trim bank 2", "%", clock + 0.25, second_bank + swing[::-1]),
            series("long fuel trim bank 2", "%", clock + 0.35, np.zeros(len(clock))),
        ]
    return found
