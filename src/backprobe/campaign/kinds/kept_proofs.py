"""Proofs kept on disk: each takes up to seconds, and depends on vehicle, rival and code alone."""

import hashlib
import json
import math
from contextlib import suppress
from functools import lru_cache
from importlib import resources

import numpy as np

from backprobe.campaign.kinds.proof import Proof, prove
from backprobe.campaign.kinds.rivals import Rival
from backprobe.campaign.separability_cache import _code_digest, _write
from backprobe.campaign.vehicle import Vehicle
from backprobe.services.bank_cache import cache_directory

# What decides over a proof, beside what draws and measures vehicles.
DECISIVE = ("nearness.py", "proof.py", "ranges.py", "rivals.py", "witnesses.py")


@lru_cache(maxsize=1)
def _digest() -> str:
    """A name for the code that proves: another code, another folder."""
    digest = hashlib.sha256(_code_digest().encode())
    package = resources.files("backprobe.campaign.kinds")
    for name in DECISIVE:
        digest.update((package / name).read_bytes())
    return digest.hexdigest()[:16]


class KeptProofs:
    """The proofs about one vehicle, from disk or made and kept.

    A folder that can't be written to costs time, not the result.
    """

    def __init__(self, vehicle: Vehicle, key: str) -> None:
        self.vehicle = vehicle
        self.key = key
        self.made: dict[Rival, Proof] = {}

    def __call__(self, rival: Rival) -> bool:
        """Say whether such a rival is proved to read the same."""
        return self.proof(rival).reads_the_same

    def proof(self, rival: Rival) -> Proof:
        """Give the proof, or how near a rival came."""
        if rival not in self.made:
            self.made[rival] = self._kept(rival)
        return self.made[rival]

    def _kept(self, rival: Rival) -> Proof:
        name = hashlib.sha256(repr((self.key, rival)).encode()).hexdigest()
        path = cache_directory() / "campaign" / f"kinds-{_digest()}" / f"{name[:24]}.json"
        with suppress(OSError, ValueError, KeyError, TypeError):
            return _from_json(json.loads(path.read_text(encoding="utf-8")))
        # The vehicle and the rival seed the draws, so that the order of asking changes nothing.
        found = prove(self.vehicle, rival, np.random.default_rng(int(name, 16)))
        with suppress(OSError):
            _write(path, _to_json(found, rival))
        return found


def _to_json(found: Proof, rival: Rival) -> dict[str, object]:
    numbers = {"off": found.off, "apart": found.apart, "steps": found.steps}
    return {
        "reads_the_same": found.reads_the_same,
        **{name: value if math.isfinite(value) else None for name, value in numbers.items()},
        "circuit": rival.circuit,
        "fault": rival.fault,
        "roles": dict(rival.roles),
    }


def _from_json(kept: dict[str, float | None]) -> Proof:
    off, apart, steps = (_or_far(kept[name]) for name in ("off", "apart", "steps"))
    return Proof(bool(kept["reads_the_same"]), off, apart, steps)


def _or_far(value: float | None) -> float:
    return math.inf if value is None else value
