"""The reading without which no circuit is called sound: one with the connector plugged in.

Unplugged, a harness shows what it offers; what the sensor makes of it under its own current, and
whether its wires reach the right pins, shows only with both together. Each single reading there may
promise next to nothing while a sound circuit leads far enough, so that expected information alone
would never ask for it. Common practice of the trade, no published source.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from backprobe.job import Round
from backprobe.services.candidate import Candidates
from backprobe.services.engine import Posterior
from backprobe.services.summary import top_fault
from backprobe.vocabulary import NO_FAULT

Array = NDArray[np.float64]

AT_WORK = ("volts", "volts_high", "volts_low", "volts_ac", "hertz", "duty_percent", "scan")


def is_unproved(posterior: Posterior) -> bool:
    """Whether a sound circuit leads that was never read plugged in with the key on."""
    return top_fault(posterior) == NO_FAULT and not any(map(_at_work, posterior.problem.rounds))


def proving_reading(candidates: Candidates, bits: Array) -> int | None:
    """Number of the candidate that tells most of those plugged in with the key on, none running.

    ``bits`` are what each candidate is expected to tell, (n_candidate,).
    """
    rows = [
        k
        for k, c in enumerate(candidates.readings)
        if c.quantity in ("volts", "volts_ac")
        and candidates.settings[c.setting].state.plugged
        and candidates.settings[c.setting].state.key == "on"
    ]
    return max(rows, key=lambda k: float(bits[k]), default=None)


def _at_work(taken: Round) -> bool:
    """Whether a round holds a reading of the circuit at work."""
    return taken.plugged and taken.key != "off" and any(getattr(taken, name) for name in AT_WORK)
