"""Frequency, amplitude and phase of a sine in noise, by the spectrum and by least squares."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.fft import next_fast_len, rfft
from scipy.signal import get_window

from backprobe.errors import ValueOutOfRange

Array = NDArray[np.float64]
Window = Literal["boxcar", "hann", "hamming", "blackman"]

_ROUNDS = 20  # of the least-squares fit; it settles within a few


@dataclass(frozen=True, slots=True)
class Sine:
    """A sine with a constant: mean + amplitude cos(2 pi frequency t + phase).

    Parameters
    ----------
    frequency, amplitude, phase, mean : float
        Hz, unit of the samples, rad at t = 0, unit of the samples.
    frequency_uncertainty, amplitude_uncertainty : float
        Standard uncertainties.
    residual : float
        Standard deviation of what is left, unit of the samples.
    """

    frequency: float
    amplitude: float
    phase: float
    mean: float
    frequency_uncertainty: float
    amplitude_uncertainty: float
    residual: float


def frequency_bound(amplitude: float, noise: float, n: int, sample_rate: float) -> float:
    """Least standard deviation that an unbiased estimate of a sine's frequency can have, Hz.

    Parameters
    ----------
    amplitude, noise : float
        Amplitude of the sine, standard deviation of the white noise.
    n : int
        Number of samples.
    sample_rate : float
        Samples per second.

    Notes
    -----
    [kay1993], eq. 3.41 and [rife1974]: var f >= 12 fs^2 / ((2 pi)^2 eta n (n^2 - 1)),
    eta = A^2 / (2 sigma^2).
    """
    eta = amplitude**2 / (2.0 * noise**2)
    return float(
        np.sqrt(12.0 * sample_rate**2 / ((2.0 * np.pi) ** 2 * eta * n * (float(n) ** 2 - 1.0)))
    )


def bin_value(samples: Array, k: float) -> complex:
    """Discrete Fourier transform of samples at one frequency.

    Parameters
    ----------
    samples : ndarray, shape (n_samp,)
        Samples.
    k : float
        Cycles in the record; a whole number gives the value of that bin of the transform.

    Notes
    -----
    The sum that [goertzel1958] evaluates by recursion, taken directly: vectorised it is as fast,
    and rounding does not pile up at low frequencies as it does there.
    """
    n = samples.size
    # Whole turns are taken off before the angle is formed, which keeps its digits.
    turns = np.arange(n) * (k / n) if k % 1 else (np.arange(n) * int(k) % n) / n
    return complex(samples @ np.exp(-2j * np.pi * turns))


def goertzel(samples: Array, k: float) -> complex:
    """As `bin_value`, by the recursion of [goertzel1958], which needs room for two numbers only.

    For samples that come one by one; its rounding error grows with their number.
    """
    turn = 2.0 * np.pi * k / samples.size
    twice, before, last = 2.0 * np.cos(turn), 0.0, 0.0
    for x in samples.tolist():
        before, last = last, x + twice * last - before
    end = np.exp(1j * turn) * last - before
    # Fits the sum over t = 0 ... n - 1, of which the recursion is the value at its end.
    return complex(end * np.exp(-1j * turn * samples.size))


def window_figures(window: Window, n: int = 4096) -> tuple[float, float]:
    """Scallop loss, dB, and noise bandwidth, bins, of a window ([harris1978], Table 1)."""
    w = np.asarray(get_window(window, n, fftbins=True), dtype=np.float64)
    halfway = abs(bin_value(w, 0.5)) / w.sum()
    return float(-20.0 * np.log10(halfway)), float(n * (w @ w) / w.sum() ** 2)


def peak_frequency(samples: Array, interval: float, window: Window = "hann") -> float:
    """Frequency of the strongest line of the spectrum, interpolated, Hz; NaN where there is none.

    Parameters
    ----------
    samples : ndarray, shape (n_samp,)
        Evenly spaced samples without NaN, at least 8.
    interval : float
        Time from sample to sample, s.
    window : str
        "hann", "boxcar", "hamming" or "blackman".

    Notes
    -----
    A parabola through the logarithms of the three highest lines of a spectrum that is padded with
    zeros to four times the length.
    """
    n = samples.size
    if n < 8:
        raise ValueOutOfRange(f"{n} samples are too few for a frequency.", "samples")
    w = np.asarray(get_window(window, n, fftbins=True), dtype=np.float64)
    length = next_fast_len(4 * n, real=True)
    lines = np.abs(np.asarray(rfft((samples - samples.mean()) * w, length)))
    k = int(lines[1:-1].argmax()) + 1
    if lines[k] <= 1e-12 * n * max(float(np.abs(samples).max()), 1e-300):
        return np.nan
    a, b, c = np.log(np.maximum(lines[k - 1 : k + 2], 1e-300))
    bend = a - 2.0 * b + c
    shift = float(np.clip(0.5 * (a - c) / bend, -0.5, 0.5)) if bend < 0.0 else 0.0
    return (k + shift) / (length * interval)


def fit_sine(samples: Array, interval: float, guess: float | None = None) -> Sine | None:
    """Least-squares sine of samples, or None where there is none to find.

    Parameters
    ----------
    samples : ndarray, shape (n_samp,)
        Evenly spaced samples without NaN, at least 8.
    interval : float
        Time from sample to sample, s.
    guess : float, optional
        Frequency to start from, Hz; the strongest line of the spectrum where not given.

    Returns
    -------
    Sine or None
        None where all samples are equal.

    Raises
    ------
    ValueOutOfRange
        Too few samples.

    Notes
    -----
    Four parameters (constant, cosine, sine, frequency) by Gauss-Newton steps ([ieee1057], the
    four-parameter fit); their covariance is residual^2 (J'J)^-1 ([jcgm100], H.3).
    """
    n = samples.size
    first = peak_frequency(samples, interval) if guess is None else guess
    if not np.isfinite(first):
        return None
    # Time from the middle, in halves of the record: keeps the four columns about orthogonal.
    half = 0.5 * n
    t = (np.arange(n) - 0.5 * (n - 1)) / half
    omega = 2.0 * np.pi * first * interval * half  # rad per half record
    part: NDArray[np.floating] = np.zeros(4)
    columns = np.ones((n, 4))
    for _ in range(_ROUNDS):
        columns[:, 1], columns[:, 2] = np.cos(omega * t), np.sin(omega * t)
        # Derivative by the angular frequency, at the parts found so far.
        columns[:, 3] = t * (part[2] * columns[:, 1] - part[1] * columns[:, 2])
        if not part[1:3].any():
            part[:3] = np.linalg.lstsq(columns[:, :3], samples, rcond=None)[0]
            continue
        part = np.linalg.lstsq(columns, samples, rcond=None)[0]
        omega += part[3]
        if abs(part[3]) < 1e-13 * omega:
            break
    if not 0.0 < omega < np.pi * half:  # ran off: no sine that so many samples could tell
        return None
    columns[:, 1], columns[:, 2] = np.cos(omega * t), np.sin(omega * t)
    columns[:, 3] = t * (part[2] * columns[:, 1] - part[1] * columns[:, 2])
    residual = samples - columns[:, :3] @ part[:3]
    variance = float(residual @ residual) / (n - 4)
    covariance = variance * np.linalg.pinv(columns.T @ columns)
    amplitude = float(np.hypot(part[1], part[2]))
    if amplitude == 0.0:
        return None
    along = np.array([part[1], part[2]]) / amplitude
    to_hertz = 1.0 / (2.0 * np.pi * interval * half)
    phase = np.arctan2(-part[2], part[1]) - omega * 0.5 * (n - 1) / half
    return Sine(
        float(omega * to_hertz),
        amplitude,
        float((phase + np.pi) % (2.0 * np.pi) - np.pi),
        float(part[0]),
        float(np.sqrt(covariance[3, 3])) * to_hertz,
        float(np.sqrt(along @ covariance[1:3, 1:3] @ along)),
        float(np.sqrt(variance)),
    )
