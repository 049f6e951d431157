"""Two recordings laid over one another: by how much the second has to be shifted."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from backprobe.core.waveform.channel_pair import PairVerdict, channel_pair
from backprobe.services.findings.words import seconds
from backprobe.services.kept_samples import KeptSamples
from backprobe.store.recording import Recording

Array = NDArray[np.float64]
_POINTS: Final = 4000  # that two recordings are compared at


@dataclass(frozen=True, slots=True)
class Alignment:
    """Another recording and its shift.

    shift : s to be added to the other's instants.
    words : what was done, as a sentence.
    """

    other: str
    shift: float
    words: str

    def shifted(self, shift: float) -> Alignment:
        """The same by a shift that somebody chose."""
        return replace(self, shift=shift, words=f"Shifted by {seconds(shift)}, by hand.")


def aligned(
    own: Recording,
    own_samples: KeptSamples,
    other: Recording,
    other_samples: KeptSamples,
    way: str,
) -> Alignment:
    """Lay another recording over one, by their first channels.

    Parameters
    ----------
    way : str
        "start": first sample on first sample; "steepest": steepest rise on steepest rise;
        "alike": where the two are most alike.
    """
    start = own.told.start - other.told.start
    plain = Alignment(other.key, start, "Laid first sample on first sample.")
    if way not in ("steepest", "alike"):
        return plain
    step = max(own.end - own.told.start, other.end - other.told.start) / _POINTS
    step = max(step, own.told.interval, other.told.interval)
    first, second = _evenly(own, own_samples, step), _evenly(other, other_samples, step)
    if first.size < 4 or second.size < 4:
        return plain
    if way == "steepest":
        shift = start + (int(np.argmax(np.diff(first))) - int(np.argmax(np.diff(second)))) * step
        return Alignment(other.key, shift, "Laid steepest rise on steepest rise.")
    n = max(first.size, second.size)
    found = channel_pair(_padded(first, n), _padded(second, n), step)
    if found.verdict in (PairVerdict.UNRELATED, PairVerdict.FLAT):
        return replace(plain, words="They are too unlike; laid first sample on first sample.")
    words = f"Laid where they are most alike (correlation {found.correlation:.2f})."
    return Alignment(other.key, start - found.delay, words)


def _evenly(found: Recording, kept: KeptSamples, step: float) -> Array:
    """Means of lowest and highest over steps of time, on the first channel."""
    bins = int(np.clip((found.end - found.told.start) / step, 16, 4000))
    drawn = kept.drawing(found.told.start, found.told.start + bins * step, bins)
    mean = 0.5 * (drawn.lowest[0] + drawn.highest[0])
    return np.where(np.isfinite(mean), mean, np.nanmedian(mean) if mean.size else 0.0)


def _padded(samples: Array, n: int) -> Array:
    return np.pad(samples, (0, n - samples.size), mode="edge")
