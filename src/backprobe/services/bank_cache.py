"""The bank of particles on disk and in memory: built when first needed, then kept.

Kept in the user's cache directory under a name that holds everything it depends on: the family
files, the code that solves them, and numpy's version. A damaged or foreign file is built again;
two processes may build the same bank, each writes its own file and renames it into place.
"""

from __future__ import annotations

import hashlib
import os
import tempfile
import zipfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, fields, is_dataclass
from functools import lru_cache
from importlib import resources
from pathlib import Path
from typing import Any

import numpy as np
import platformdirs

from backprobe.core.circuit.plan import CircuitTable
from backprobe.core.inference.bank import (
    FIELDS,
    IDLE,
    KEY_ON,
    STANDARD_ROUNDS,
    UNPLUGGED,
    Bank,
    RoundBank,
    draw_bank,
    solve_rounds,
    standard_sheet,
)
from backprobe.core.inference.hypotheses import HypothesisTable
from backprobe.core.inference.prior import PriorTable
from backprobe.core.inference.sheet import Sheet
from backprobe.errors import CacheError
from backprobe.families.hypotheses import Hypotheses, hypotheses_for, pairs_for
from backprobe.families.loader import load_families
from backprobe.vocabulary import NO_FAULT, ROLES

Progress = Callable[[str, float], None]

CACHE_VARIABLE = "BACKPROBE_CACHE"  # environment: another directory for the cache
HEALTHY_PARTICLES = 96
RARE_PARTICLES = 32  # of these drawn so that rare options are there, too
FAULTY_PARTICLES = 16
SEED = 20240229
_CODE = ("core", "families")
FIRST_ROUNDS = (UNPLUGGED, KEY_ON, IDLE)  # what most sheets hold; others when asked for


@dataclass(frozen=True, slots=True)
class Workbench:
    """Everything that explaining connectors of one size needs."""

    hypotheses: Hypotheses
    bank: Bank
    sheet: Sheet  # of the standard rounds


def cache_directory() -> Path:
    """Where banks are kept."""
    chosen = os.environ.get(CACHE_VARIABLE)
    return Path(chosen) if chosen else Path(platformdirs.user_cache_dir("backprobe", False))


class Shelf:
    """Workbenches by connector size, loaded or built when first asked for."""

    def __init__(self, directory: Path | None = None) -> None:
        self.directory = directory if directory is not None else cache_directory()
        self._benches: dict[int, Workbench] = {}

    def bench(
        self, n_terminal: int, rounds: Sequence[int] = (), progress: Progress | None = None
    ) -> Workbench:
        """Hypotheses and bank of a connector size, with the standard rounds that are needed."""
        bench = self._benches.get(n_terminal)
        if bench is None:
            bench = self._load(n_terminal) or self._make(n_terminal, progress)
            self._benches[n_terminal] = bench
        wanted = {*FIRST_ROUNDS, *rounds} - set(bench.bank.rounds)
        missing = [r for r in sorted(wanted) if not self._load_round(bench, r)]
        if missing:
            self._solve(bench, missing, progress)
        return bench

    def _path(self, n_terminal: int, part: str) -> Path:
        return self.directory / f"{n_terminal}-terminals-{part}-{_fingerprint()}.npz"

    def _make(self, n_terminal: int, progress: Progress | None) -> Workbench:
        if progress is not None:
            progress("drawing up circuits", 0.0)
        hypotheses = hypotheses_for(n_terminal, load_families())
        healthy = np.array([f.kind == NO_FAULT for _, f in hypotheses.pairs])
        count = np.where(healthy, HEALTHY_PARTICLES, FAULTY_PARTICLES)
        sheet = standard_sheet(n_terminal, len(ROLES))
        n_rare = np.where(healthy, RARE_PARTICLES, 0)
        bank = draw_bank(hypotheses.table, count, sheet, SEED, n_rare)
        bench = Workbench(hypotheses, bank, sheet)
        arrays = _flat("table", hypotheses.table)
        arrays |= {"free_name": hypotheses.free_name, "driven_name": hypotheses.driven_name}
        arrays |= {"hypothesis": bench.bank.hypothesis, "z": bench.bank.z}
        _write(self._path(n_terminal, "circuits"), arrays)
        return bench

    def _load(self, n_terminal: int) -> Workbench | None:
        arrays = _read(self._path(n_terminal, "circuits"))
        if arrays is None:
            return None
        try:
            return _unpacked(arrays, n_terminal)
        except (KeyError, ValueError, TypeError):
            return None

    def _solve(self, bench: Workbench, rounds: Sequence[int], progress: Progress | None) -> None:
        bank = bench.bank

        def told(share: float) -> None:
            if progress is not None:
                progress("solving circuits", share)

        solve_rounds(bank, bench.hypotheses.table, bench.sheet, rounds, told)
        for r in rounds:
            solved = bank.rounds[r]
            arrays = {f"fields.{n}": f for n, f in solved.fields.items()}
            arrays |= {"battery": solved.battery, "celsius": solved.celsius}
            if r == UNPLUGGED:
                arrays["ohm"] = bank.ohm
            _write(self._path(bench.hypotheses.n_terminal, STANDARD_ROUNDS[r].name), arrays)

    def _load_round(self, bench: Workbench, r: int) -> bool:
        name = STANDARD_ROUNDS[r].name
        arrays = _read(self._path(bench.hypotheses.n_terminal, name))
        if arrays is None:
            return False
        shape = (bench.bank.hypothesis.size, bench.hypotheses.n_terminal)
        try:
            fields_ = {n: arrays[f"fields.{n}"] for n in FIELDS}
            if any(f.shape != shape for f in fields_.values()):
                return False
            if r == UNPLUGGED:
                bench.bank.ohm[...] = arrays["ohm"]
            solved = RoundBank(fields_, arrays["battery"], arrays["celsius"])
        except (KeyError, ValueError):
            return False
        bench.bank.rounds[r] = solved
        return True


@lru_cache(maxsize=1)
def _fingerprint() -> str:
    """Digest of family files and of the code that a bank depends on."""
    digest = hashlib.sha256(
        repr((np.__version__, HEALTHY_PARTICLES, RARE_PARTICLES, FAULTY_PARTICLES)).encode()
    )
    root = resources.files("backprobe")
    for folder in _CODE:
        for path in sorted(_walk(root / folder), key=str):
            digest.update(path.name.encode())
            digest.update(path.read_bytes())
    return digest.hexdigest()[:20]


def _walk(folder: Any) -> list[Any]:
    found = []
    for entry in folder.iterdir():
        if entry.is_dir():
            found += _walk(entry)
        elif entry.name.endswith((".py", ".toml")):
            found.append(entry)
    return found


# on disk -------------------------------------------------------------------------------------
def _flat(prefix: str, value: Any) -> dict[str, Any]:
    """Arrays of nested dataclasses by dotted name."""
    if is_dataclass(value):
        flat: dict[str, Any] = {}
        for f in fields(value):
            flat |= _flat(f"{prefix}.{f.name}", getattr(value, f.name))
        return flat
    return {prefix: value}


def _write(path: Path, arrays: Mapping[str, Any]) -> None:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=path.parent, suffix=".part")
        try:
            with os.fdopen(handle, "wb") as file:
                np.savez(file, **arrays)
            Path(name).replace(path)
        except OSError:
            Path(name).unlink(missing_ok=True)
            raise
    except OSError as error:
        raise CacheError(
            what=f"The solved circuits could not be kept: {error.strerror or error}.",
            where=str(path.parent),
            remedy=f"Make room or set {CACHE_VARIABLE} to a directory that can be written.",
        ) from error


def _read(path: Path) -> dict[str, Any] | None:
    """Arrays from disk; None where there are none or they cannot be trusted."""
    try:
        with path.open("rb") as opened, np.load(opened, allow_pickle=False) as file:
            return {name: file[name] for name in file.files}
    except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile):
        return None


def _unpacked(arrays: Mapping[str, Any], n_terminal: int) -> Workbench:
    def table(cls: type[Any], prefix: str) -> Any:
        values = {}
        for f in fields(cls):
            name = f"{prefix}.{f.name}"
            nested = {"circuits": CircuitTable, "static": PriorTable, "driven_prior": PriorTable}
            if f.name in nested:
                values[f.name] = table(nested[f.name], name)
            else:
                values[f.name] = int(arrays[name]) if arrays[name].ndim == 0 else arrays[name]
        return cls(**values)

    pairs, _ = pairs_for(n_terminal, load_families())
    if len(pairs) != arrays["table.log_prior"].size:
        raise ValueError("another set of hypotheses")
    hypotheses = Hypotheses(
        n_terminal=n_terminal,
        pairs=pairs,
        table=table(HypothesisTable, "table"),
        free_name=arrays["free_name"],
        driven_name=arrays["driven_name"],
    )
    n_b = arrays["hypothesis"].size
    ohm = np.zeros((n_b, n_terminal, n_terminal), dtype=np.float32)
    bank = Bank(arrays["hypothesis"], arrays["z"], ohm, {})
    return Workbench(hypotheses, bank, standard_sheet(n_terminal, len(ROLES)))
