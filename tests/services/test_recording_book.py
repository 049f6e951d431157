"""A recording is kept whole, placed at terminals that are there, marked, voided, not altered."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from backprobe.errors import BackprobeError, ConflictError, NotFoundError, ValueOutOfRange
from backprobe.job import Connector, Round, Terminal
from backprobe.services import incoming
from backprobe.services.backup import make_backup
from backprobe.services.doctor import examine
from backprobe.services.recording_intake import Placing, preview, take_in
from backprobe.services.restore import restore
from backprobe.store.engine import Store
from backprobe.store.files import path_of
from backprobe.store.upgrade import upgrade
from tests.services.captured import Kept, begun, hall, write_csv


@pytest.fixture
def kept(store: Store) -> Kept:
    return begun(store)


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return write_csv(tmp_path / "hall.csv", {"signal (V)": hall(4000), "supply (V)": hall(4000)})


def test_a_file_that_came_in_pieces_is_kept_once(kept: Kept, file: Path) -> None:
    store = kept.recordings.store
    content = file.read_bytes()
    there = incoming.begin(store, kept.job, "hall.csv", len(content))
    incoming.append(store, there.key, 0, content)
    seen = preview(incoming.found(store, there.key))
    assert (seen.kind, seen.refused) == ("capture", "")
    assert seen.channels == ("signal (V)", "supply (V)")
    key = take_in(kept.recordings, incoming.found(store, there.key), Placing("capture"))
    found = kept.recordings.recording(key)
    assert (found.told.name, found.told.n_sample) == ("hall.csv", 4000)
    assert found.told.interval == pytest.approx(20e-6, rel=1e-9)
    with pytest.raises(NotFoundError):
        incoming.found(store, there.key)


def test_what_is_cut_off_is_not_taken_in(kept: Kept) -> None:
    store = kept.recordings.store
    there = incoming.begin(store, kept.job, "hall.csv", 100)
    incoming.append(store, there.key, 0, b"time (s),signal (V)\n")
    with pytest.raises(BackprobeError, match="Only 20 of 100 bytes are here"):
        take_in(kept.recordings, incoming.found(store, there.key), Placing("capture"))


def test_words_are_refused_with_what_to_do(kept: Kept) -> None:
    store = kept.recordings.store
    there = incoming.begin(store, kept.job, "letter.txt", 30)
    incoming.append(store, there.key, 0, b"Dear customer, all is well now")
    seen = preview(incoming.found(store, there.key))
    assert seen.refused
    assert "Dear customer" in seen.head


@pytest.mark.parametrize(
    ("places", "told"),
    [(("9",), 'no terminal "9"'), (("3", "3"), "Two channels are at terminal 3")],
)
def test_terminals_that_can_not_be_are_refused(
    kept: Kept, file: Path, places: tuple[str, ...], told: str
) -> None:
    with pytest.raises(ValueOutOfRange, match=told):
        kept.keep(file, places=places)
    assert not kept.recordings.of_job(kept.job)


def test_a_round_of_another_job_is_refused(kept: Kept, file: Path) -> None:
    key = kept.keep(file)
    other = begun(kept.recordings.store)
    found = kept.recordings.recording(key)
    with pytest.raises(ValueOutOfRange, match="belongs to another job"):
        kept.recordings.place(
            key,
            round_key=other.round,
            channels=found.told.channels,
            caption="",
            error_share=0.03,
        )


def test_it_may_be_placed_anew(kept: Kept, file: Path) -> None:
    key = kept.keep(file)
    again = kept.jobs.add_round(kept.sheet, Round(name="", plugged=True, key="on"))
    first, second = kept.recordings.recording(key).told.channels
    channels = (replace(first, place="1"), replace(second, place="2", signal="supply"))
    kept.recordings.place(
        key, round_key=again, channels=channels, caption="key on", error_share=0.02
    )
    found = kept.recordings.recording(key)
    assert (found.round_name, found.told.caption, found.told.error_share) == ("B", "key on", 0.02)
    assert found.told.channels == channels


def test_marks_are_put_within_and_taken_back(kept: Kept, file: Path) -> None:
    key = kept.keep(file)
    number = kept.recordings.mark(key, 0.02, 0.01, "drops out here")
    (mark,) = kept.recordings.recording(key).marks
    assert (mark.start, mark.end, mark.text) == (0.01, 0.02, "drops out here")
    for start, end, text in ((0.01, 9.0, "outside"), (0.01, 0.02, "  ")):
        with pytest.raises(ValueOutOfRange):
            kept.recordings.mark(key, start, end, text)
    kept.recordings.take_mark_back(key, number)
    assert not kept.recordings.recording(key).marks
    with pytest.raises(NotFoundError):
        kept.recordings.take_mark_back(key, number + 1)


def test_a_closed_job_is_left_as_it_is(kept: Kept, file: Path) -> None:
    key = kept.keep(file)
    kept.jobs.close(kept.job)
    for change in (
        lambda: kept.recordings.void(key, "wrong wire"),
        lambda: kept.recordings.mark(key, 0.01, 0.01, "here"),
        lambda: kept.keep(file),
    ):
        with pytest.raises(ConflictError):
            change()


def test_a_backup_holds_the_samples(file: Path, tmp_path: Path) -> None:
    store = Store(str(tmp_path / "here" / "jobs.sqlite3"))
    upgrade(store)
    kept = begun(store)
    key = kept.keep(file)
    made = make_backup(store, tmp_path / "all.backup")
    assert made.n_file == 1
    target = tmp_path / "elsewhere"
    restore(str(target / "jobs.sqlite3"), tmp_path / "all.backup", folder=target / "files")
    again = Store(str(target / "jobs.sqlite3"), target / "files")
    try:
        book = type(kept.recordings)(again)
        found = book.recording(key)
        # The extremes are not in the backup: they follow from the samples.
        drawn = book.samples(found).drawing(0.0, 0.08, 50)
        expected = kept.recordings.samples(found).drawing(0.0, 0.08, 50)
        np.testing.assert_array_equal(drawn.lowest[0], expected.lowest[0])
    finally:
        again.close()
        store.close()


def test_missing_samples_are_told(kept: Kept, file: Path) -> None:
    key = kept.keep(file)
    found = kept.recordings.recording(key)
    path_of(kept.recordings.store.files, found.told.samples_sha256).unlink()
    with pytest.raises(BackprobeError, match="can't be read"):
        kept.recordings.samples(found)
    told = [each for each in examine(kept.recordings.store) if each.check == "files"]
    assert '"hall.csv" is missing' in told[0].text


def test_two_connectors_have_their_own_terminals(kept: Kept, file: Path) -> None:
    wires = (Terminal("A"), Terminal("B"))
    sheet = kept.jobs.add_sheet(kept.job, Connector("pedal", "position", wires))
    at = kept.jobs.add_round(sheet, Round(name="A", plugged=True, key="on"))
    key = kept.keep(file)
    found = kept.recordings.recording(key)
    channels = tuple(
        replace(c, place=p) for c, p in zip(found.told.channels, ("A", "B"), strict=True)
    )
    kept.recordings.place(key, round_key=at, channels=channels, caption="", error_share=0.03)
    assert kept.recordings.recording(key).sheet == sheet
