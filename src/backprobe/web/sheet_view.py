"""What the page of a sheet shows: a row a terminal, a column a round, a button a cell."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Final
from urllib.parse import urlencode

from backprobe.job import Indication, Round
from backprobe.quantities import format_quantity
from backprobe.services.answer import Answer, NextReading
from backprobe.services.telling import DECIDED_FROM
from backprobe.services.unavailable import rpm_class
from backprobe.services.words import quantity_words, role_words, state_words
from backprobe.standards.wire_colour import colour_letters, colour_words
from backprobe.store.cells import PAIRS, ROUND_READINGS, SCAN, unit_of
from backprobe.store.record import Attachment, Entry, JobHead, RoundRecord, SheetRecord

AT_PINS: Final = (
    *("volts", "volts_high", "volts_low", "level_high", "level_low"),
    *("volts_ac", "hertz", "duty_percent"),
    *("volts_loaded", "harness_ohms"),
)
ROUND_TITLES: Final[dict[str, str]] = {
    "battery_volts": "battery posts",
    "black_lead_check": "battery + to black lead",
}
# What the pad offers for each plain unit: what is written behind the number, first the usual one.
PAD_UNITS: Final[dict[str, tuple[str, ...]]] = {
    "volt": ("V", "mV"),
    "hertz": ("Hz", "kHz"),
    "percent": ("%",),
    "ohm": ("ohm", "kohm", "Mohm"),
    "celsius": ("degC",),
    "gram per second": ("g/s",),
    "kilopascal": ("kPa",),
    "rpm": ("rpm",),
}


@dataclass(frozen=True, slots=True)
class Standing:
    """One entry that stands in a cell."""

    id: int
    text: str
    device: str


@dataclass(frozen=True, slots=True)
class Cell:
    """One place for a reading."""

    quantity: str
    place: str
    text: str  # the reading as shown; empty where nothing was read
    small: str  # the same in millivolts, where it is below a volt
    label: str  # what is read here, for the pad and for those who listen to the page
    name: str  # the quantity in words, where it is not the usual one of the row
    seen: tuple[int, ...]
    units: tuple[str, ...]
    is_wanted: bool
    was: tuple[str, ...] = ()  # earlier entries, corrected since
    beside: tuple[Standing, ...] = ()  # entries that contradict each other
    last: int = 0  # the entry that undo takes back
    pictures: str = ""  # how many belong to this reading, in words


@dataclass(frozen=True, slots=True)
class Column:
    """One round."""

    key: str
    name: str
    state: str
    black_lead: str
    void: str
    note: str
    more: tuple[str, ...]  # load, fitted resistors, temperature
    is_open: bool
    repeats: str


@dataclass(frozen=True, slots=True)
class Row:
    """One terminal, pair of terminals or other place, with its cells by round."""

    title: str
    colours: tuple[str, ...]  # letters of IEC 60757, the wire's own first
    colour_name: str
    role: str
    cells: tuple[tuple[Cell, ...], ...]


@dataclass(frozen=True, slots=True)
class SheetView:
    """A sheet as its page shows it."""

    key: str
    job_key: str
    title: str
    connector: str
    phase: str
    columns: tuple[Column, ...]
    rows: tuple[Row, ...]
    is_open: bool
    wanted_round: str  # state of a round that has to be begun for the next reading, as a query


def sheet_view(
    job_key: str,
    head: JobHead,
    sheet: SheetRecord,
    answer: Answer | None,
    *,
    is_open: bool,
    pictures: Iterable[Attachment] = (),
) -> SheetView:
    """Build the view of one sheet with what is known of it."""
    wanted = answer.next[0] if answer is not None and answer.next else None
    at = None if wanted is None else round_for(sheet.rounds, wanted)
    builder = _Rows(sheet, wanted, at, answer, tuple(pictures))
    return SheetView(
        key=sheet.key,
        job_key=job_key,
        title=head.title,
        connector=sheet.connector.name,
        phase=sheet.phase,
        columns=tuple(_column(each, is_open=is_open) for each in sheet.rounds),
        rows=tuple(builder.rows()),
        is_open=is_open,
        wanted_round="" if wanted is None or at is not None else round_query(wanted),
    )


def round_for(rounds: Iterable[RoundRecord], reading: NextReading) -> RoundRecord | None:
    """The latest round that counts and has the state in which a reading is proposed."""
    found = None
    wanted = rpm_class(reading.key, reading.rpm)
    for record in rounds:
        each = record.round
        same = (
            each.plugged == reading.plugged
            and each.key == reading.key
            and rpm_class(each.key, each.rpm) == wanted
            and each.action == reading.action
        )
        if same and not each.void:
            found = record
    return found


def round_query(reading: NextReading) -> str:
    """The state of a reading as the address of a form for a new round carries it."""
    plugged = "yes" if reading.plugged else "no"
    state = {"plugged": plugged, "key": reading.key, "rpm": f"{reading.rpm:.0f}"}
    return urlencode({**state, "action": reading.action})


def reading_query(reading: NextReading) -> str:
    """A reading and its state as an address carries them."""
    at = urlencode({"quantity": reading.quantity, "place": reading.terminal})
    return f"{at}&{round_query(reading)}"


def shown(indication: Indication, quantity: str, place: str) -> tuple[str, str]:
    """A reading as written, with its unit; below one volt also in millivolts."""
    unit = unit_of(quantity, place)
    if indication.over_range:
        return "OL", ""
    plain = format_quantity(indication.value, unit)
    written = indication.written
    if not written:
        text = plain
    elif any(sign.isalpha() or sign == "%" for sign in written):
        text = written
    else:
        text = f"{written} {PAD_UNITS[unit][0]}"
    small = unit == "volt" and 0 < abs(indication.value) < 1 and "mV" not in text
    return text, f"{1000 * indication.value:.4g} mV" if small else ""


class _Rows:
    """Builds the rows of one sheet."""

    def __init__(
        self,
        sheet: SheetRecord,
        wanted: NextReading | None,
        at: RoundRecord | None,
        answer: Answer | None,
        pictures: tuple[Attachment, ...],
    ) -> None:
        self.sheet = sheet
        self.wanted = wanted
        self.at = at
        self.pictures = Counter((p.round_key, p.quantity, p.place) for p in pictures)
        self.roles = {} if answer is None else {t.pin: t for t in answer.terminals}

    def rows(self) -> Iterator[Row]:
        """All rows, in the order in which they are read."""
        for quantity in ROUND_READINGS:
            yield Row(ROUND_TITLES[quantity], (), "", "", self._cells(((quantity, ""),)))
        for terminal in self.sheet.connector.terminals:
            cells = tuple(self._at_pin(record, terminal.pin) for record in self.sheet.rounds)
            yield Row(
                terminal.pin,
                colour_letters(terminal.colour),
                colour_words(terminal.colour),
                self._role(terminal.pin),
                cells,
            )
        for quantity in (PAIRS, SCAN):
            for place in self._places(quantity):
                title = place if quantity == SCAN else f"sensor {place}"
                yield Row(title, (), "", "", self._cells(((quantity, place),)))

    def _role(self, pin: str) -> str:
        said = self.roles.get(pin)
        if said is None or said.probability < DECIDED_FROM:
            return "?"
        return role_words(said.role)

    def _places(self, quantity: str) -> list[str]:
        """Places of a quantity that were read, or are to be read next."""
        found = dict.fromkeys(
            e.place for r in self.sheet.rounds for e in r.entries if e.quantity == quantity
        )
        if self.wanted is not None and self.wanted.quantity == quantity:
            found[self.wanted.terminal] = None
        return list(found)

    def _cells(self, at: tuple[tuple[str, str], ...]) -> tuple[tuple[Cell, ...], ...]:
        return tuple(
            tuple(self._cell(record, quantity, place, "") for quantity, place in at)
            for record in self.sheet.rounds
        )

    def _at_pin(self, record: RoundRecord, pin: str) -> tuple[Cell, ...]:
        """The usual reading of a round at a pin first, then others that were read or are wanted."""
        usual = usual_quantity(record.round)
        read = {e.quantity for e in record.entries if e.place == pin}
        read |= {q for key, q, place in self.pictures if (key, place) == (record.key, pin)}
        more = [
            quantity
            for quantity in AT_PINS
            if quantity != usual and (quantity in read or self._is_wanted(record, quantity, pin))
        ]
        first = self._cell(record, usual, pin, "")
        return (first, *(self._cell(record, q, pin, quantity_words(q)) for q in more))

    def _is_wanted(self, record: RoundRecord, quantity: str, place: str) -> bool:
        wanted = self.wanted
        return (
            wanted is not None
            and self.at is record
            and wanted.quantity == quantity
            and set(wanted.terminal.split("-")) == set(place.split("-"))
        )

    def _cell(self, record: RoundRecord, quantity: str, place: str, name: str) -> Cell:
        entries = record.cell(quantity, place)
        standing = [e for e in entries if e.stands]
        values = {_value(e) for e in standing}
        last = standing[-1] if standing else None
        text, small = ("", "")
        if last is not None and last.indication is not None and len(values) == 1:
            text, small = shown(last.indication, quantity, place)
        where = f" at {place}" if place else ""
        return Cell(
            quantity=quantity,
            place=place,
            text=text,
            small=small,
            label=f"Round {record.round.name}: {quantity_words(quantity)}{where}",
            name=name,
            seen=tuple(e.id for e in standing),
            units=PAD_UNITS[unit_of(quantity, place)],
            is_wanted=self._is_wanted(record, quantity, place),
            was=tuple(_text(e) for e in entries if not e.stands and e.indication is not None),
            beside=tuple(Standing(e.id, _text(e), e.device) for e in standing)
            if len(values) > 1
            else (),
            last=0 if last is None or len(values) > 1 else last.id,
            pictures=_photos(self.pictures[record.key, quantity, place]),
        )


def _photos(count: int) -> str:
    return "" if count == 0 else "photo" if count == 1 else f"{count} photos"


def usual_quantity(each: Round) -> str:
    """What is read at the pins in a round: volts, or ohms on the dead and unplugged circuit."""
    return "harness_ohms" if not each.plugged and each.key == "off" else "volts"


def _value(entry: Entry) -> float | None:
    return None if entry.indication is None else entry.indication.value


def _text(entry: Entry) -> str:
    if entry.indication is None:
        return "taken back"
    return shown(entry.indication, entry.quantity, entry.place)[0]


def _column(record: RoundRecord, *, is_open: bool) -> Column:
    each = record.round
    more = []
    if each.volts_loaded:
        more.append(f"load {format_quantity(each.load_ohms, 'ohm')}")
    more += [
        f"{format_quantity(one.ohms, 'ohm')} from {one.start} to {one.end}" for one in each.fitted
    ]
    if each.ambient_celsius is not None:
        more.append(f"sensor at {each.ambient_celsius:g} °C")
    return Column(
        key=record.key,
        name=each.name,
        state=state_words(plugged=each.plugged, key=each.key, rpm=each.rpm, action=each.action),
        black_lead=each.black_lead,
        void=each.void,
        note=each.note,
        more=tuple(more),
        is_open=is_open and not each.void,
        repeats=record.repeats,
    )
