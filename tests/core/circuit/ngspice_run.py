"""One run of the circuit simulator ngspice: lines of a deck in, node voltages out."""

import subprocess
import tempfile
from collections.abc import Sequence
from pathlib import Path

import numpy as np

PRECISE = ".options reltol=1e-6 abstol=1e-8 vntol=1e-7 gmin=1e-15 noacct"
# Straight to the answer; where junctions keep Newton's method from it, step by step.
OPTIONS = (f"{PRECISE} itl1=100 gminsteps=0 srcsteps=0", f"{PRECISE} itl1=500")
# Else it would look for an end over time, too, which takes it half a minute where there is none.
# Its three first numbers are those it starts with; the zeros leave no time.
NOT_OVER_TIME = "optran 1 1 1 0 0 0\n"


def run(lines: Sequence[str], analysis: str) -> dict[str, float]:
    """Node voltages by node that one run of ngspice finds (magnitudes where they alternate)."""
    with tempfile.TemporaryDirectory() as folder:
        deck, raw = Path(folder) / "deck.cir", Path(folder) / "deck.raw"
        (Path(folder) / ".spiceinit").write_text(NOT_OVER_TIME, encoding="utf-8")
        said = ""
        for options in OPTIONS:
            text = "\n".join(["circuits", *lines, options, f".{analysis}", ".end", ""])
            deck.write_text(text, encoding="utf-8")
            result = subprocess.run(
                ["ngspice", "-b", "-r", str(raw), str(deck)],
                capture_output=True,
                text=True,
                check=False,
                cwd=folder,
            )
            if raw.exists() and b"Binary:\n" in raw.read_bytes():
                return _voltages(raw.read_bytes())
            said = result.stdout + result.stderr
        raise RuntimeError(f"ngspice did not answer:\n{said}")


def _voltages(raw: bytes) -> dict[str, float]:
    """Node voltages of a binary raw file with one point, real or complex."""
    header, data = raw.split(b"Binary:\n", 1)
    lines = header.decode("ascii").splitlines()
    names = [line.split()[1] for line in lines[lines.index("Variables:") + 1 :]]
    kind = np.complex128 if "Flags: complex" in lines else np.float64
    values = np.frombuffer(data, dtype=kind, count=len(names))
    voltages = {}
    for name, value in zip(names, values.tolist(), strict=True):
        if name.startswith("v("):
            voltages[name[2:-1]] = abs(value) if kind is np.complex128 else value
    return voltages
