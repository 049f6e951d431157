"""Made-up logs with known states and values."""

import numpy as np
from numpy.typing import NDArray

from backprobe.recordings.log import Log, LogSeries

STEP = 0.2  # s


def series(
    quantity: str, unit: str, values: NDArray[np.float64], times: NDArray[np.float64] | None = None
) -> LogSeries:
    """A series named like its quantity."""
    instants = made_times(values.size) if times is None else times
    return LogSeries(quantity, quantity, unit, instants, np.asarray(values, dtype=np.float64))


def made_times(n: int) -> NDArray[np.float64]:
    """Instants of a log of n rows."""
    return np.asarray(np.arange(n) * STEP, dtype=np.float64)


def drive() -> Log:
    """120 s: 10 s key on, 1 s cranking, idle, 2500 from 50 s to 80 s, a snap at 90 s, idle."""
    t = made_times(600)
    speed = np.select(
        [t < 10, t < 11, t < 50, t < 80, (t >= 90) & (t < 91.5)],
        [0.0, 250.0, 800.0, 2500.0, 4500.0],
        820.0,
    )
    throttle = np.select([t < 50, t < 80, (t >= 90) & (t < 91)], [12.0, 18.0, 85.0], 12.0)
    ripple = 0.02 * np.sin(7.0 * t)
    flow = np.where(t < 11, 0.0, speed / 800.0 * 3.1 + ripple)
    return Log(
        (
            series("engine speed", "1/min", speed),
            series("vehicle speed", "km/h", np.zeros(t.size)),
            series("throttle position", "%", throttle),
            series("air mass flow", "g/s", flow),
            series("coolant temperature", "degC", 60.0 + np.floor(t / 10.0)),
        ),
        source="drive.csv",
    )


def with_series(log: Log, *more: LogSeries) -> Log:
    """The same with series put in the place of those with their names, or added."""
    names = {one.name for one in more}
    kept = tuple(one for one in log.series if one.name not in names)
    return Log((*kept, *more), log.source, log.remarks)
