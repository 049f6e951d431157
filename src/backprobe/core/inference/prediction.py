"""What is predicted of a sheet of readings: a quantity at every wire in every round."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

# Quantities at the wires, and those of a round as a whole.
AT_WIRES = ("mean", "unit", "alternating", "thevenin", "share_high", "log_hertz", "high", "low")
OF_ROUND = ("battery", "celsius", "pull_up", "ohm_25", "beta")


@dataclass(frozen=True, slots=True)
class Field:
    """A predicted quantity and its sensitivities.

    value : ndarray, shape (M, R, T); by : ndarray, shape (M, R, T, n_z), or None.
    """

    value: Array
    by: Array | None = None


@dataclass(frozen=True, slots=True)
class Prediction:
    """Predicted quantities at every wire of M hypotheses in R rounds.

    mean, high, low, alternating, thevenin, unit, log_hertz, share_high : Field, (M, R, T)
        Direct mean, highest and lowest level, rms of what alternates, V; Thevenin resistance,
        ohm; voltage at the control unit's end, V; log of the frequency (NaN: none); share of
        time high.
    ohm : ndarray, shape (M, R, T, T)
        Log resistance between the lone sensor's terminals; inf: open; NaN: can't be told.
    ohm_by : ndarray, shape (M, R, T, T, n_z), or None
        Where the wires of the terminals are given, filled for the pairs that are read only.
    lead_kind : ndarray of int, shape (M, R): `LeadKind` that each round is explained with.
    meter : ndarray, shape (M, 1 + N_RANGE): coordinates of the meter's gain and offset errors.
    meter_at : where these coordinates begin.
    battery, lead_offset, lead_ohm : Field, shapes (M, R, 1)
    celsius : Field, (M, R, 1): temperature of a thermistor or platinum sensor, NaN where none.
    pull_up, ohm_25, beta : Field, (M, R, 1)
        What a control unit reckons a thermistor's temperature with: its pull-up, ohm, and the
        curve, ohm and K; NaN where there is none.
    values : ndarray, shape (M, R, P): values at the round's state.
    """

    mean: Field
    high: Field
    low: Field
    alternating: Field
    thevenin: Field
    unit: Field
    log_hertz: Field
    share_high: Field
    ohm: Array
    ohm_by: Array | None
    lead_kind: IntArray
    meter: Array
    meter_at: int
    battery: Field
    celsius: Field
    pull_up: Field
    ohm_25: Field
    beta: Field
    lead_offset: Field
    lead_ohm: Field
    values: Array
