"""What a report says of a job."""

import hashlib
import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from backprobe.job import Indication, Meter, Terminal
from backprobe.report import ReportInput, contents
from backprobe.report.blocks import Group, Photo, Picture, Span, Table, plain
from backprobe.report.digest import NOT_CONTENT, as_plain
from backprobe.report.pictures import as_jpeg
from backprobe.report.rounds_part import value_words
from backprobe.report.vehicle_part import at_five_volts
from backprobe.store.record import JobRecord
from tests.report.jobs_on_file import LOUD, PRINTED, VIN, record, source, with_photo
from tests.report.reading_documents import said_in


def test_page_one_answers_an_owner_in_order() -> None:
    report = contents(source())
    titles = [section.title for section in report.customer]
    assert titles == ["Complaint", "Cause", "Correction", "Proof", "Not tested"]
    assert "Limp mode after rain." in said_in(report, "Complaint")
    assert "Water in the connector of another sensor." in said_in(report, "Cause")
    assert "Connector dried" in said_in(report, "Correction")
    proof = said_in(report, "Proof")
    assert "very likely, 91 %" in proof
    assert "before 3.07 V, after 5.01 V" in proof
    assert "no fault in this circuit" in proof
    assert "No road test in rain." in said_in(report, "Not tested")


def test_the_vehicle_and_its_codes_say_what_their_structure_says() -> None:
    report = contents(source())
    assert f"VIN: {VIN}" in said_in(report, "Vehicle")
    assert "Check digit right" in said_in(report, "Vehicle")
    assert "123\N{NO-BREAK SPACE}456 km" in said_in(report, "Vehicle")
    codes = said_in(report, "Trouble codes")
    assert "P0122: powertrain" in codes
    assert "Engine speed: 812 rpm" in codes


def test_the_meters_data_sheet_is_told_as_volts_at_five_volts() -> None:
    # JCGM 100:2008, 4.3.7 example 2: limits of a specification are added. 0.5 % of 5 V is 25 mV;
    # of 4000 counts the range is 40 V, so a digit is 10 mV and two of them are 20 mV: 45 mV.
    assert at_five_volts(Meter(4000, "0.5 % + 2 digits")).endswith(
        "\N{PLUS-MINUS SIGN}45 mV at 5 V"
    )
    # 6000 counts: the range is 6 V, a digit 1 mV.
    assert at_five_volts(Meter(6000, "0.5 % + 2 digits")).endswith(
        "\N{PLUS-MINUS SIGN}27 mV at 5 V"
    )


def test_a_corrected_reading_stays_struck_through_with_who_and_when() -> None:
    report = contents(source())
    section = next(s for s in report.sections if s.title.endswith("sensor, as found"))
    struck = [s.text for s in spans(section) if s.mark == "struck"]
    assert struck == ["3.12 V", "3.21 V"]
    told = said_in(report, "Readings at throttle position sensor, as found")
    assert "replaced by 3.13 V" in told
    assert "by laptop" in told


def spans(value: object) -> list[Span]:
    if isinstance(value, Span):
        return [value]
    if isinstance(value, tuple):
        return [span for each in value for span in spans(each)]
    if hasattr(value, "__dataclass_fields__"):
        members = [getattr(value, name) for name in value.__dataclass_fields__]
        return [span for each in members for span in spans(each)]
    return []


def test_entries_that_disagree_are_both_shown() -> None:
    told = said_in(contents(source()), "Readings at throttle position sensor, as found")
    assert "5.2 mV / 5.4 mV" in told
    assert "entries that disagree, none was chosen" in told


def test_a_void_round_is_shown_with_its_reason() -> None:
    told = said_in(contents(source()), "Readings at throttle position sensor, as found")
    assert "Round C: plugged in, key on (VOID)" in told
    assert f"Void, not used in any conclusion: {LOUD}" in told
    assert "2.61 V" in told
    assert "engine block" in told


def test_small_volts_are_told_in_millivolts_as_well() -> None:
    assert value_words(Indication(0.404, written="0.404 V"), "volt") == "0.404 V (404 mV)"
    assert value_words(Indication(0.0056, written="5.6 mV"), "volt") == "5.6 mV"
    assert value_words(Indication(5.0, written="5.00"), "volt") == "5.00 V"
    assert value_words(Indication(float("inf"), over_range=True), "ohm") == "OL"


def test_the_answer_stands_with_its_evidence() -> None:
    told = said_in(
        contents(source()), "What the readings at throttle position sensor say, as found"
    )
    assert "Regulated supply (settled, 99.9 %" in told
    assert "91 % | The regulated supply (terminal A) is weak" in told
    assert "It would give 3.88 V. (B: volts at B, decisive)" in told
    assert "3.05 to 3.18 V | 95 %" in told
    assert "A: volts with load at A | +41" in told
    assert "The battery is low in round A." in told


def test_before_and_after_stand_side_by_side() -> None:
    told = said_in(contents(source()), "Before and after")
    assert "Unplugged, key on | Volts | A | 3.13 V | 5.01 V" in told
    assert "Plugged in, key on | Volts | A | 3.07 V | 5.01 V" in told
    assert "2.61 V" not in told  # void


def test_the_diagram_is_held_against_the_readings() -> None:
    told = said_in(contents(source()), "Other witnesses")
    assert "A | regulated supply | regulated supply (99.9 %) | agree" in told
    assert "B | signal, a voltage | sensor ground (97 %) | DISAGREE" in told


def test_proof_cautions_and_history_are_there() -> None:
    report = contents(source())
    assert "the supply rose to 5.01 V" in said_in(report, "Minimum proof")
    assert "Asked for: The same lift or loss" in said_in(report, "Minimum proof")
    assert "Mind belts and fans." in said_in(report, "Cautions")
    assert "Never probe airbag circuits" in said_in(report, "Cautions")
    history = said_in(report, "History")
    assert f"round C made void: {LOUD}" in history
    assert "the meter has no such range" in history
    assert "Nothing was read with the engine running." in said_in(report, "Not tested")


def test_an_answer_to_other_readings_says_so() -> None:
    given = source()
    key = given.record.sheets[0].key
    old = {key: replace(given.answers[key], job_file="format = 1\n")}
    told = said_in(contents(replace(given, answers=dict(given.answers) | old)), "as found")
    assert "Readings or notes were changed after this was worked out" in told


def test_an_outcome_against_the_readings_shows_both() -> None:
    held = record()
    other = replace(held.outcomes[-1], fault="open:sensor-ground", terminals=("B",))
    told = said_in(contents(source(replace(held, outcomes=(other,)))), "Cause")
    assert "the sensor ground wire (terminal B) is broken" in told
    assert "By the readings alone, as found: So far: the regulated supply" in told


def bare(held: JobRecord) -> JobRecord:
    head = replace(
        held.head, complaint="", recent_work="", technician="", opened=None, codes=(),
        vehicle=type(held.head.vehicle)(),
    )  # fmt: skip
    return replace(held, head=head, outcomes=(), attachments=(), events=(), sheets=())


@pytest.mark.parametrize("sheets", [0, 1, 2])
def test_what_is_unknown_is_left_out(sheets: int) -> None:
    held = replace(bare(record()), sheets=record().sheets[:sheets])
    for given in (ReportInput(held, PRINTED, "0.1.0"), source(held)):
        told = json.dumps(as_plain(contents(given), frozenset(("jpeg", "svg"))))
        assert "None" not in told.replace("None was noted", "").replace("None of it has been", "")
        assert "nan" not in told.lower().split()


def test_times_are_told_in_the_zone_of_the_printing() -> None:
    given = source()
    assert given.zone == "UTC+01:00"
    assert given.instant(datetime(2026, 3, 9, 23, 30, tzinfo=UTC)) == "10 Mar 2026, 00:30"
    assert "Worked out: 9 Mar 2026, 16:40" in said_in(contents(given), "Versions")


def test_the_hash_is_that_of_the_content_as_canonical_json() -> None:
    report = contents(source())
    body = replace(report, sections=report.sections[:-2])  # the hash and the place to sign
    text = json.dumps(
        as_plain(body, NOT_CONTENT), sort_keys=True, separators=(",", ":"), ensure_ascii=False
    )
    assert report.digest == hashlib.sha256(text.encode()).hexdigest()
    assert f"SHA-256: {report.digest}" in said_in(report, "Content hash")


def test_any_changed_reading_changes_the_hash() -> None:
    held = record()
    first = contents(source()).digest
    seen = {first}
    for s, sheet in enumerate(held.sheets):
        for r, each in enumerate(sheet.rounds):
            for e, entry in enumerate(each.entries):
                other = replace(entry, indication=Indication(9.87, written="9.87 V"))
                entries = (*each.entries[:e], other, *each.entries[e + 1 :])
                rounds = (*sheet.rounds[:r], replace(each, entries=entries), *sheet.rounds[r + 1 :])
                changed = (*held.sheets[:s], replace(sheet, rounds=rounds), *held.sheets[s + 1 :])
                seen.add(contents(source(replace(held, sheets=changed))).digest)
    n_entry = sum(len(each.entries) for sheet in held.sheets for each in sheet.rounds)
    assert len(seen) == n_entry + 1


def test_the_time_of_printing_does_not_change_the_hash() -> None:
    given = source()
    later = replace(given, printed_at=PRINTED + timedelta(days=400))
    assert contents(later).digest == contents(given).digest
    assert contents(later).printed != contents(given).printed


def test_a_photograph_is_named_beside_its_reading() -> None:
    held, photos = with_photo(record())
    sheet = held.sheets[0]
    a = sheet.rounds[0]
    entry = next(e for e in a.entries if e.quantity == "volts" and e.stands)
    mine = replace(held.attachments[0], round_key=a.key, quantity=entry.quantity, place=entry.place)
    report = contents(source(replace(held, attachments=(mine,)), photos))
    groups = [b for s in report.sections for b in s.blocks if isinstance(b, Group)]
    tables = [b for group in groups for b in group.blocks if isinstance(b, Table)]
    cells = [plain(cell) for each in tables for row in each.rows for cell in row]
    (cell,) = [each for each in cells if "photo" in each]
    assert entry.indication is not None
    assert cell.endswith(" (photo 1)")
    (photo,) = [b for s in report.sections if s.title == "Photographs" for b in s.blocks]
    assert isinstance(photo, Photo)
    assert f"volts at {entry.place}" in plain(photo.caption)


def test_a_photograph_is_shrunk_and_tells_nothing_but_its_picture() -> None:
    held, photos = with_photo(record())
    assert b"taken in the yard" in photos["k1"][1]
    report = contents(source(held, photos))
    blocks = next(s for s in report.sections if s.title == "Photographs").blocks
    photo = blocks[0]
    assert isinstance(photo, Photo)
    assert b"taken in the yard" not in photo.jpeg
    assert (photo.width, photo.height) == (1400, 700)
    assert plain(photo.caption) == "1. Torn seal (round A, terminal B, 9 Mar 2026, 13:00)"
    assert "Broken file" in said_in(report, "Photographs")
    assert as_jpeg(b"\x89PNG\r\n\x1a\n" + b"0" * 40) is None


def test_the_circuit_of_page_one_is_not_drawn_a_second_time() -> None:
    held = record()
    for kept, drawn, told in (
        (held, 2, False),
        (replace(held, outcomes=(), sheets=held.sheets[:1]), 1, True),
    ):
        report = contents(source(kept))
        plan = as_plain(report, frozenset(("jpeg", "svg")))
        titles = json.dumps(plan)
        assert titles.count('"Circuit drawing"') == (drawn if not told else 0)
        assert ("is drawn on page one" in titles) is told
        pictures = [
            block for part in report.customer for block in part.blocks if isinstance(block, Picture)
        ]
        assert len(pictures) == 1


def test_every_pin_and_colour_stays_in_the_record() -> None:
    """Where the rounds tell all of them; and where a terminal was never read."""
    held = record()
    first = held.sheets[0]
    for diagram in (True, False):
        terminals = tuple(
            replace(t, diagram=t.diagram if diagram else "") for t in first.connector.terminals
        )
        connector = replace(first.connector, terminals=(*terminals, Terminal("9", "VT/PK")))
        for given in (connector, replace(connector, terminals=terminals)):
            sheet = replace(first, connector=given)
            report = contents(ReportInput(replace(held, sheets=(sheet,)), PRINTED, "0.1.0"))
            told = said_in(report, "as found")
            for terminal in given.terminals:
                assert terminal.pin in told
                assert terminal.colour in told


def test_what_an_answer_came_from_is_told_in_words() -> None:
    given = source()
    assert "usual limits; usual minutes and prices" in said_in(contents(given), "Versions")
    own = {
        "whole": True,
        "limits": [["return ohm", 0.5, 1.0]],
        "costs": [["key", 0.2]],
        "without": [["volts", "3", "plugged in"]],
    }
    answers = {k: replace(stored, parameters=own) for k, stored in given.answers.items()}
    said = said_in(contents(replace(given, answers=answers)), "Versions")
    assert "whole search; own limits: return ohm 0.5 to 1; own costs: key 0.2" in said
    assert "readings set aside: volts 3 plugged in" in said
