"""Separability kept on disk: it takes seconds a vehicle, and depends on the vehicle alone."""

import hashlib
import json
import os
import tempfile
from contextlib import suppress
from functools import lru_cache
from importlib import resources
from pathlib import Path

from backprobe.campaign.separability import Separability, separability
from backprobe.campaign.vehicle import Vehicle
from backprobe.services.bank_cache import cache_directory

# What decides over a vehicle and its readings; the scoring and the tables don't.
NOT_DECISIVE = (
    "__main__.py",
    "accuracy.py",
    "accuracy_page.py",
    "asking.py",
    "planner.py",
    "run.py",
    "saving.py",
    "scoring.py",
)


@lru_cache(maxsize=1)
def _code_digest() -> str:
    """A name for the code that draws and measures vehicles: another code, another folder."""
    digest = hashlib.sha256()
    package = resources.files("backprobe.campaign")
    for source in sorted(package.iterdir(), key=_name):
        if source.name.endswith(".py") and source.name not in NOT_DECISIVE:
            digest.update(source.read_bytes())
    return digest.hexdigest()[:16]


def _name(source: object) -> str:
    return str(getattr(source, "name", ""))


def kept_separability(vehicle: Vehicle, key: str) -> Separability:
    """Give the separability from disk, or compute and keep it.

    A folder that can't be written to costs time, not the result.
    """
    name = hashlib.sha256(key.encode()).hexdigest()[:24]
    path = cache_directory() / "campaign" / _code_digest() / f"{name}.json"
    with suppress(OSError, ValueError, KeyError):
        kept = json.loads(path.read_text(encoding="utf-8"))
        alike = tuple(frozenset(group) for group in kept["alike"])
        hidden = frozenset(kept["hidden"])
        return Separability(float(kept["difference"]), frozenset(kept["rivals"]), alike, hidden)
    found = separability(vehicle)
    with suppress(OSError):
        content = {
            "difference": found.difference,
            "rivals": sorted(found.rivals),
            "hidden": sorted(found.hidden),
            "alike": [sorted(group) for group in found.alike],
        }
        _write(path, content)
    return found


def _write(path: Path, content: dict[str, object]) -> None:
    """Write beside, then rename: another process sees the whole file or none."""
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(dir=path.parent, suffix=".part")
    with os.fdopen(handle, "w", encoding="utf-8") as file:
        json.dump(content, file)
    Path(name).replace(path)
