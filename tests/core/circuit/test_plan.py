"""Stacking plans of unlike size into one table."""

import numpy as np
import pytest

from backprobe.core.circuit.evaluate import evaluate
from backprobe.core.circuit.plan import N_SWITCH, Mode, stack_plans
from backprobe.errors import ValueOutOfRange
from tests.core.circuit.sketch import Sketch, solved


def divider(volt: float, upper: float, lower: float) -> Sketch:
    sketch = Sketch()
    sketch.source("top", "0", volt, 0.01)
    sketch.resistor("top", "middle", upper)
    sketch.resistor("middle", "0", lower)
    return sketch


def ladder() -> Sketch:
    """A longer circuit with a regulator, to be padded beside shorter ones."""
    sketch = Sketch()
    sketch.regulator("ref", "0", 5.0, 0.2, 0.1, 5000.0)
    for number, name in enumerate("abcdef"):
        before = "ref" if number == 0 else "abcdef"[number - 1]
        sketch.resistor(before, name, 100.0 * (number + 1))
        sketch.resistor(name, "0", 2000.0)
    return sketch


def test_padding_changes_no_answer() -> None:
    sketches = [divider(5.0, 2200.0, 4700.0), ladder(), divider(12.0, 10.0, 5.0)]
    probes = [("middle",), ("ref", "c", "f"), ("top", "middle")]
    pairs = list(zip(sketches, probes, strict=True))
    table = stack_plans([sketch.plan(*names) for sketch, names in pairs], n_terminal=5)
    values = np.stack([sketch.row(table) for sketch in sketches])[:, None]
    level = np.zeros((1, N_SWITCH), dtype=np.int64)
    found = evaluate(table, values, np.array([int(Mode.PLUGGED)]), level)
    assert found.voltage.shape == (3, 1, 5)
    for row, (sketch, names) in enumerate(pairs):
        alone = solved(sketch, *names)
        n = len(names)
        assert found.voltage[row, 0, :n] == pytest.approx(alone.voltage[0, 0], rel=1e-12)
        assert found.thevenin[row, 0, :n, :n] == pytest.approx(alone.thevenin[0, 0], rel=1e-12)
        # Terminals that a circuit does not have lie on the reference.
        assert np.all(found.voltage[row, 0, n:] == 0.0)
        assert np.all(found.thevenin[row, 0, n:] == 0.0)


def test_rows_are_trimmed_to_what_they_use() -> None:
    sketches = [divider(5.0, 1.0, 1.0), ladder(), divider(6.0, 2.0, 1.0)]
    table = stack_plans(
        [sketch.plan("middle" if n != 1 else "f") for n, sketch in enumerate(sketches)]
    )
    some = table.rows(np.array([2, 0, 2]))
    assert some.kind.shape[1] == len(sketches[0].stamps) < table.kind.shape[1]
    values = np.stack([sketches[n].row(table) for n in (2, 0, 2)])[:, None]
    level = np.zeros((1, N_SWITCH), dtype=np.int64)
    found = evaluate(some, values, np.array([int(Mode.PLUGGED)]), level).voltage[:, 0, 0]
    expected = [solved(sketches[n], "middle").voltage[0, 0, 0] for n in (2, 0, 2)]
    assert found == pytest.approx(np.array(expected), rel=1e-12)


def test_no_plan_at_all_is_refused() -> None:
    with pytest.raises(
        ValueOutOfRange, match=r"No circuit to solve was given\. Give at least one\."
    ):
        stack_plans([])


def test_three_switching_elements_are_refused() -> None:
    sketch = divider(5.0, 1.0, 1.0)
    sketch.shares = [sketch.value(0.5) for _ in range(3)]
    with pytest.raises(
        ValueOutOfRange, match=r"has 3 switching elements\. At most 2 can be solved\."
    ):
        stack_plans([sketch.plan("middle")])
