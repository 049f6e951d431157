"""Trims to weigh, in per cent as they are read off a display."""

import numpy as np

from backprobe.core.engine.trim_pattern import AIR_MASS, OperatingPoints
from backprobe.core.engine.trim_readings import TrimReadings

# Idle, 2500 1/min without load, pulling: g/s per litre as in a worked example of the air equation.
POINTS = OperatingPoints(np.array([750.0, 2500.0, 3000.0]), np.array([1.3, 5.0, 19.0]))
LIMIT = 0.25


def read_trims(
    *banks: list[float], metering: str = AIR_MASS, points: OperatingPoints = POINTS
) -> TrimReadings:
    """Trims of one or two banks, read by eye."""
    trim = np.array(banks) / 100.0
    limited = np.abs(trim) >= LIMIT
    return TrimReadings(points, trim, np.full(trim.shape, 0.015), limited, metering)
