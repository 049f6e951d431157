"""A sheet as found against the same sheet after the repair."""

from datetime import UTC, datetime

import pytest

from backprobe.job import Connector, Indication, Round, Terminal
from backprobe.services.before_after import Compared, cell_words, compare_sheets
from backprobe.store.record import REPAIRED, Entry, RoundRecord, SheetRecord

WHEN = datetime(2026, 11, 24, tzinfo=UTC)
PLUG = Connector("plug", terminals=(Terminal("1"), Terminal("2")))


def entry(number: int, cell: tuple[str, str], value: Indication | None, **more: object) -> Entry:
    """One entry of a cell."""
    return Entry(number, "", cell[0], cell[1], value, WHEN, "", **more)  # type: ignore[arg-type]


def sheets(
    before: tuple[Entry, ...], after: tuple[Entry, ...], void: str = ""
) -> tuple[SheetRecord, SheetRecord]:
    """A sheet of one round and its repetition."""
    state = Round("A", plugged=True, key="on")
    first = RoundRecord("r1", state, before, WHEN)
    again = Round("A", plugged=True, key="on", void=void)
    second = RoundRecord("r2", again, after, WHEN, repeats="r1")
    return (
        SheetRecord("s1", "found", PLUG, (first,)),
        SheetRecord("s2", REPAIRED, PLUG, (second,), repeats="s1"),
    )


def one(before: Indication, after: Indication, cell: tuple[str, str]) -> Compared:
    """The comparison of a single cell."""
    (found,) = compare_sheets(*sheets((entry(1, cell, before),), (entry(2, cell, after),)))
    return found


@pytest.mark.parametrize(
    ("before", "after", "change"),
    [
        (5.00, 5.08, "as before"),  # within a tenth of a volt
        (0.02, 0.09, "as before"),
        (5.00, 1.20, "changed"),
        (12.0, 12.5, "as before"),  # within five per cent
        (12.0, 13.9, "changed"),
    ],
)
def test_volts_have_changed_or_not(before: float, after: float, change: str) -> None:
    found = one(Indication(before), Indication(after), ("volts", "2"))
    assert found.change == change
    assert (found.cell, found.state) == ("volts at 2", "plugged in, key on")


def test_ohms_change_by_share_and_over_range_by_itself() -> None:
    pair = ("sensor_ohms", "1-2")
    over = Indication(float("inf"), over_range=True)
    assert one(Indication(2000.0), Indication(2050.0), pair).change == "as before"
    assert one(Indication(0.5), Indication(0.6), pair).change == "changed"
    assert one(over, Indication(2050.0), pair).change == "changed"
    assert one(over, over, pair).change == "as before"


def test_what_was_written_is_shown_as_written() -> None:
    found = one(Indication(0.012, written="12 mV"), Indication(4.2), ("volts", "1"))
    assert (found.before, found.after) == ("12 mV", "4.20 V")
    bare = one(
        Indication(5.0, written="5.00"), Indication(float("inf"), over_range=True), ("volts", "1")
    )
    assert (bare.before, bare.after) == ("5.00 V", "OL")


def test_only_what_stands_is_compared_and_void_rounds_are_not() -> None:
    cell = ("volts", "1")
    old = entry(1, cell, Indication(9.0), stands=False)
    before = (old, entry(2, cell, Indication(5.0), replaces=(1,)))
    (missing,) = compare_sheets(*sheets(before, ()))
    assert (missing.before, missing.after, missing.change) == ("5.00 V", "", "not read yet")
    after = (entry(3, cell, Indication(5.0)),)
    assert compare_sheets(*sheets(before, after, void="lead slipped")) == ()
    taken_back = (entry(4, cell, None),)
    assert compare_sheets(*sheets(taken_back, after)) == ()


def test_cells_in_words() -> None:
    assert cell_words(("battery_volts", "")) == "battery volts"
    assert cell_words(("scan", "coolant temperature")) == "control unit's coolant temperature"
