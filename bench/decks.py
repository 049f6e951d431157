"""Circuits of the program as decks for ngspice, and ngspice's answers.

A deck is written from the stamps of a circuit's plan, in the region in which every
current-limited or starved element works as designed.
"""

import re
import subprocess
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from backprobe.core.circuit.elements import CURRENT_KINDS, Coefficient, coefficients
from backprobe.core.circuit.plan import CircuitPlan, Mode, Stamp

Array = NDArray[np.float64]

CONTROLLED = (Coefficient.TRANSFER,)


def _is_live(stamp: Stamp, values: Array, mode: Mode, level: Sequence[int]) -> bool:
    return (
        mode in stamp.modes
        and not stamp.alternating
        and stamp.region == 0
        and (stamp.switch < 0 or level[stamp.switch] == stamp.level)
        and (stamp.only_slot < 0 or values[stamp.only_slot] == stamp.only_code)
    )


def _coefficient(stamp: Stamp, values: Array) -> float:
    p = [np.array([values[slot]]) for slot in stamp.values]
    return float(coefficients(np.array([stamp.kind], dtype=np.int8), p[0], p[1], p[2])[0][0])


def _line(number: int, stamp: Stamp, values: Array) -> str:
    """One element: a current, a controlled current, or a resistor."""
    coefficient = _coefficient(stamp, values)
    plus, minus, control_plus, control_minus = stamp.nodes
    if stamp.kind in CURRENT_KINDS:
        return f"i{number} {minus} {plus} {coefficient:.15g}"
    if stamp.kind in CONTROLLED:
        return f"g{number} {plus} {minus} {control_plus} {control_minus} {coefficient:.15g}"
    return f"r{number} {plus} {minus} {1.0 / coefficient:.15g}"


def deck(plan: CircuitPlan, values: Array, mode: Mode, level: Sequence[int]) -> str:
    """A circuit with one set of values as a deck; nodes that nothing touches are tied to 0 V."""
    lines = ["circuit"]
    live = [stamp for stamp in plan.stamps if _is_live(stamp, values, mode, level)]
    lines += [_line(number, stamp, values) for number, stamp in enumerate(live)]
    touched = {node for stamp in live for node in stamp.nodes} | {0}
    idle = set(range(len(plan.node_names) + 1)) - touched
    lines += [f"rx{node} {node} 0 1" for node in sorted(idle)]
    return "\n".join([*lines, ".end", ""])


def _wanted(plan: CircuitPlan) -> str:
    return " ".join(f"v({node})" for node in plan.probe_nodes if node)


def _script(plan: CircuitPlan, files: Sequence[Path]) -> str:
    """A control deck that solves each file in turn and prints the voltages at its terminals."""
    steps = [f"source {path.as_posix()}\nop\nprint {_wanted(plan)}\nremcirc" for path in files]
    return "\n".join(["control", ".control", "set numdgt=10", *steps, "quit", ".endc", ".end", ""])


def solve(plan: CircuitPlan, files: Sequence[Path]) -> Array:
    """Voltages that one run of ngspice finds at the terminals, shape (n_file, n_terminal), V."""
    script = files[0].with_suffix(".script")
    script.write_text(_script(plan, files), encoding="utf-8")
    result = subprocess.run(
        ["ngspice", "-b", str(script)],
        capture_output=True,
        text=True,
        check=False,
    )
    found = [float(text) for text in re.findall(r"^v\(\d+\) = (\S+)", result.stdout, re.MULTILINE)]
    n_terminal = sum(node > 0 for node in plan.probe_nodes)
    if len(found) != len(files) * n_terminal:
        raise RuntimeError(f"ngspice did not answer as expected:\n{result.stdout}{result.stderr}")
    return np.array(found).reshape(len(files), n_terminal)
