"""A further reading is held to the same rules as a whole job file."""

from hypothesis import given
from hypothesis import strategies as st

from backprobe.errors import BackprobeError
from backprobe.job import Connector, Indication, Round, Terminal
from backprobe.services.checking import checked_place, checked_reading, checked_round
from backprobe.store.cells import PAIRS, QUANTITIES, ROUND_READINGS, SCAN, Cell, cells_of, with_cell
from backprobe.vocabulary import SCAN_UNITS

CONNECTOR = Connector("sensor", terminals=tuple(Terminal(pin) for pin in ("1", "2", "A3")))
STATES = (
    Round("A", plugged=False, key="on"),
    Round("B", plugged=True, key="run", rpm=800.0),
    Round("C", plugged=False, key="off"),
    Round("D", plugged=True, key="on", void="black lead on paint"),
)
HELD = Indication(2.5, written="2.500 V")


def _cells() -> st.SearchStrategy[Cell]:
    def places(quantity: str) -> st.SearchStrategy[Cell]:
        if quantity in ROUND_READINGS:
            found = [""]
        elif quantity == PAIRS:
            found = ["1-2", "1-A3"]
        else:
            found = list(SCAN_UNITS) if quantity == SCAN else list(CONNECTOR.pins)
        return st.sampled_from([(quantity, place) for place in found])

    return st.sampled_from(QUANTITIES).flatmap(places)


_NUMBERS = st.floats(-1e7, 1e7, allow_nan=False).map(lambda v: f"{v:.4g}")
_WRITTEN = st.one_of(
    st.builds("{} {}".format, _NUMBERS, st.sampled_from(["", "V", "mV", "kohm", "Hz", "%", "rpm"])),
    st.sampled_from(["OL", "O.L", "2,41 V", "4k7", "1e400", "0x10", '5"', "5\\u0041", "-0.0"]),
    st.text(min_size=1, max_size=12).filter(lambda t: t.strip() and t.isprintable()),
    st.text("5.,V \t\n\r\x7f", min_size=1, max_size=8).filter(lambda t: bool(t.strip())),
)
_READINGS = st.one_of(_WRITTEN, st.floats(allow_nan=False, width=32).map(Indication))


def by_the_file(each: Round, cell: Cell, written: str | Indication) -> Indication:
    """The plain way: the whole round written as a file, and read again."""
    if isinstance(written, str):
        written = Indication(0.0, written=written.strip())
    candidate = with_cell(each, cell, written, CONNECTOR.pins)
    return dict(cells_of(checked_round(CONNECTOR, candidate)))[cell]


@given(
    st.sampled_from(STATES),
    st.sets(st.sampled_from(("volts_low", "volts_high"))),
    _cells(),
    _READINGS,
)
def test_a_reading_is_taken_or_refused_as_by_a_whole_file(
    state: Round, held: set[str], cell: Cell, written: str | Indication
) -> None:
    each = state
    for quantity in held:
        each = with_cell(each, (quantity, "1"), HELD, CONNECTOR.pins)
    found: list[Indication | tuple[str, str]] = []
    for way in (by_the_file, lambda r, c, w: checked_reading(CONNECTOR.pins, r, c, w)):
        try:
            found.append(way(each, cell, written))
        except BackprobeError as error:
            found.append((error.what, error.remedy))
    assert found[0] == found[1]


def test_a_pair_is_kept_in_the_order_of_the_connector() -> None:
    assert checked_place(CONNECTOR.pins, ("sensor_ohms", "A3-1")) == ("sensor_ohms", "1-A3")
