"""A backup gives back everything, in either data base; a bad one changes nothing."""

import hashlib
import json
import sqlite3
import zipfile
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import text

from backprobe.errors import StoreError
from backprobe.job import Meter, read_job
from backprobe.services.attachments import add_attachment, read_attachment
from backprobe.services.backup import MANIFEST, file_member, make_backup, table_member
from backprobe.services.job_book import JobBook
from backprobe.services.restore import restore
from backprobe.store import files
from backprobe.store.engine import Store
from backprobe.store.record import JobRecord
from backprobe.store.rows import TABLES, lines_of
from backprobe.store.upgrade import newest_revision, revision_of, upgrade
from backprobe.store.workshop import MeterProfile, put_meter, put_setting

EXAMPLES = Path(__file__).parents[2] / "examples"
NewStore = Callable[[], Store]


def filled(store: Store) -> str:
    """Something in every table but the answers, with a correction; returns the job's key."""
    book = JobBook(store)
    key, sheet = book.take_in(read_job(EXAMPLES / "healthy-air-mass.toml"), device="bench")
    book.take_in(read_job(EXAMPLES / "half-a-sheet.toml"))
    round_key = book.sheet(sheet)[2].rounds[0].key
    book.enter(round_key, ("volts", "1"), "5,02 V")
    book.set_aside(sheet, quantity="volts", place="1", reason="out of reach")
    book.repeat_after_repair(sheet)
    add_attachment(store, key, "note.txt", "Größe µ".encode(), round_key=round_key, place="1")
    book.conclude(key, fault="open:sensor-ground", terminals=["3"])
    with store.write() as session:
        put_meter(session, MeterProfile("yellow", Meter(), is_default=True))
        put_setting(session, "costs", {"hour": 90.5})
        session.execute(
            text(
                "insert into answer (sheet_id, input_hash, job_file, parameters, versions, answer,"
                " computed_at, seconds) values ((select min(id) from sheet), 'h', :b, '{}', '{}',"
                " :b, '2026-03-02 10:00:00', 0.1)"
            ),
            {"b": bytes(range(256))},
        )
    return key


def everything(store: Store) -> dict[str, list[str]]:
    with store.read() as session:
        return {name: list(lines_of(session, name)) for name in TABLES}


def record(store: Store, key: str) -> JobRecord:
    return JobBook(store).job(key, with_events=True)


@pytest.fixture
def backup(tmp_path: Path) -> Path:
    return tmp_path / "saved.backup"


def test_a_backup_gives_back_everything(store: Store, new_store: NewStore, backup: Path) -> None:
    key = filled(store)
    told: list[tuple[str, float]] = []
    made = make_backup(store, backup, progress=lambda what, share: told.append((what, share)))
    assert (made.rows["job"], made.n_file, made.size_bytes) == (2, 1, backup.stat().st_size)
    assert told[-1] == ("pictures, documents and recordings", 1.0)
    other = new_store()
    found = restored_into(other, backup)
    assert found is None
    assert everything(other) == everything(store)
    assert record(other, key) == record(store, key)
    (attachment,) = record(other, key).attachments
    assert read_attachment(other, attachment.key)[1].decode() == "Größe µ"
    # New rows get new numbers.
    book = JobBook(other)
    book.take_in(read_job(EXAMPLES / "half-a-sheet.toml"))
    assert book.listed()[1] == 3


def restored_into(store: Store, backup: Path, *, replace: bool = False) -> Path | None:
    """Restore by address, as the command does, while nothing has the store open."""
    address = str(store.path) if store.path else store.url
    store.close()
    return restore(address, backup, replace=replace, folder=store.files).aside


def test_a_backup_of_one_data_base_goes_into_the_other(
    store: Store, tmp_path: Path, backup: Path, request: pytest.FixtureRequest, backend: str
) -> None:
    key = filled(store)
    make_backup(store, backup)
    if backend == "sqlite":
        address = request.getfixturevalue("postgres").new_database()
    else:
        address = str(tmp_path / "other" / "jobs.sqlite3")
    restore(address, backup, folder=tmp_path / "other" / "files")
    with closing(Store(address, tmp_path / "other" / "files")) as other:
        assert everything(other) == everything(store)
        assert record(other, key) == record(store, key)


def test_a_backup_belongs_to_one_instant(store: Store, new_store: NewStore, backup: Path) -> None:
    """What is entered while it is made is not in it, in no table."""
    filled(store)
    before = everything(store)
    entered: list[object] = []

    def enter_meanwhile(*_: object) -> None:
        if not entered:
            entered.append(JobBook(store).take_in(read_job(EXAMPLES / "half-a-sheet.toml")))

    make_backup(store, backup, progress=enter_meanwhile)
    assert entered
    other = new_store()
    restored_into(other, backup)
    assert everything(other) == before
    assert JobBook(store).listed()[1] == 3


def test_a_backup_is_not_written_over_another(store: Store, backup: Path) -> None:
    backup.write_text("dear to somebody", encoding="utf-8")
    with pytest.raises(StoreError, match="There is such a file or folder already"):
        make_backup(store, backup)
    assert backup.read_text(encoding="utf-8") == "dear to somebody"
    make_backup(store, backup, replace=True)
    assert zipfile.is_zipfile(backup)


def test_a_backup_that_lacks_something_is_not_made(store: Store, backup: Path) -> None:
    key = filled(store)
    (attachment,) = record(store, key).attachments
    files.path_of(store.files, attachment.sha256).unlink()
    with pytest.raises(StoreError, match="The file can't be read"):
        make_backup(store, backup)
    assert [path.name for path in backup.parent.iterdir() if path.is_file()] == []


def test_what_is_there_is_not_replaced_unasked(
    store: Store, new_store: NewStore, backup: Path
) -> None:
    filled(store)
    make_backup(store, backup)
    other = new_store()
    upgrade(other)
    JobBook(other).take_in(read_job(EXAMPLES / "painted-bracket.toml"))
    before = everything(other)
    with pytest.raises(StoreError, match="are there already; nothing was changed"):
        restored_into(other, backup)
    assert everything(other) == before


def test_what_is_replaced_is_kept_aside(store: Store, new_store: NewStore, backup: Path) -> None:
    filled(store)
    make_backup(store, backup)
    other = new_store()
    upgrade(other)
    JobBook(other).take_in(read_job(EXAMPLES / "painted-bracket.toml"))
    before = everything(other)
    aside = restored_into(other, backup, replace=True)
    assert everything(other) == everything(store)
    assert aside is not None
    if other.path is not None:
        with closing(Store(str(aside))) as old:
            assert everything(old) == before
        assert aside.parent == other.path.parent
        assert not list(other.path.parent.glob(".*"))
    else:
        third = new_store()
        restored_into(third, aside)
        assert everything(third) == before


def test_a_damaged_data_base_is_replaced(tmp_path: Path, backup: Path) -> None:
    good = Store(str(tmp_path / "good" / "jobs.sqlite3"))
    upgrade(good)
    filled(good)
    make_backup(good, backup)
    bad = tmp_path / "bad" / "jobs.sqlite3"
    bad.parent.mkdir()
    bad.write_bytes(b"scrambled " * 1000)
    with pytest.raises(StoreError, match="--force"):
        restore(str(bad), backup)
    aside = restore(str(bad), backup, replace=True).aside
    assert aside is not None
    assert aside.read_bytes() == b"scrambled " * 1000
    with closing(Store(str(bad))) as found:
        assert everything(found) == everything(good)
    good.close()


def test_a_data_base_in_use_is_left_alone(tmp_path: Path, backup: Path) -> None:
    path = tmp_path / "in-use" / "jobs.sqlite3"
    with closing(Store(str(path))) as store:
        upgrade(store)
        filled(store)
        make_backup(store, backup)
        before = everything(store)
        with pytest.raises(StoreError, match="Another program has the data base open"):
            restore(str(path), backup, replace=True)
        assert everything(store) == before
    assert [each.name for each in path.parent.iterdir() if each.is_file()] == ["jobs.sqlite3"]


# ---------------------------------------------------------------- bad archives
Members = dict[str, bytes]


def unpacked(path: Path) -> Members:
    with zipfile.ZipFile(path) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def packed(path: Path, members: Members) -> None:
    with zipfile.ZipFile(path, "w") as archive:
        for name, content in members.items():
            archive.writestr(name, content)


def told_anew(members: Members, /, **changes: Any) -> Members:
    """A table of contents that fits the members: what a careful forger would write."""
    manifest = json.loads(members[MANIFEST]) | changes
    if "members" not in changes:
        manifest["members"] = {
            name: {"sha256": hashlib.sha256(content).hexdigest(), "size": len(content)}
            for name, content in members.items()
            if name != MANIFEST
        }
    return members | {MANIFEST: json.dumps(manifest).encode()}


JOBS = table_member("job")
NOTES = table_member("attachment")
TEXT_HASH = hashlib.sha256("Größe µ".encode()).hexdigest()
PAGE = b"<html><script>alert(1)</script></html>"
PAGE_HASH = hashlib.sha256(PAGE).hexdigest()


def with_row(members: Members, table: str, **changes: Any) -> Members:
    first, *others = members[table].decode().splitlines()
    row = json.loads(first) | changes
    return members | {table: "\n".join([json.dumps(row), *others]).encode()}


def without(members: Members, *names: str) -> Members:
    return {name: content for name, content in members.items() if name not in names}


FORGED: dict[str, tuple[Callable[[Members], Members], str]] = {
    "a changed row": (lambda m: with_row(m, JOBS, title="x"), "damaged at tables/job.jsonl"),
    "a member too many": (lambda m: m | {"extra": b"x"}, "holds what isn't its own"),
    "a member too few": (lambda m: without(m, JOBS), "lacks something"),
    "no contents": (lambda m: without(m, MANIFEST), "is no backup"),
    "contents that are none": (lambda m: m | {MANIFEST: b"[]"}, "is no backup"),
    "contents without members": (lambda m: told_anew(m, members={}), "lacks something"),
    "a way out of the folder": (
        lambda m: told_anew(m | {"../../outside": b"x"}),
        "names that no backup has",
    ),
    "an absolute name": (lambda m: told_anew(m | {"/outside": b"x"}), "names that no backup"),
    "a name among the files": (
        lambda m: told_anew(m | {"files/../../outside": b"x"}),
        "names that no backup",
    ),
    "a file under a wrong hash": (
        lambda m: told_anew(m | {file_member("0" * 64): b"x"}),
        "damaged at files/000",
    ),
    "a file of no row": (
        lambda m: told_anew(m | {file_member(hashlib.sha256(b"x").hexdigest()): b"x"}),
        "don't match",
    ),
    "a row without its file": (lambda m: told_anew(without(m, file_member(TEXT_HASH))), "match"),
    "a page as a note": (
        lambda m: told_anew(
            with_row(without(m, file_member(TEXT_HASH)), NOTES, sha256=PAGE_HASH)
            | {file_member(PAGE_HASH): PAGE}
        ),
        "no backup",
    ),
    "a page by its type": (
        lambda m: told_anew(with_row(m, NOTES, media_type="text/html")),
        "isn't what it is said to be",
    ),
    "another table": (
        lambda m: told_anew(
            m | {table_member("alembic_version"): b'{"version_num": "0001"}\n'},
            rows=json.loads(m[MANIFEST])["rows"] | {"alembic_version": 1},
        ),
        "other tables",
    ),
    "a column too many": (lambda m: told_anew(with_row(m, JOBS, extra=1)), "no backup"),
    "a text for a number": (lambda m: told_anew(with_row(m, JOBS, meter_counts="x")), "no backup"),
    "a row that is none": (lambda m: told_anew(m | {JOBS: b"[1]\n"}), "no backup"),
    "a row that points nowhere": (
        lambda m: told_anew(with_row(m, table_member("sheet"), job_id=999)),
        "no backup",
    ),
    "a newer version": (lambda m: told_anew(m, revision="9999"), "newer version"),
    "another format": (lambda m: told_anew(m, format=2), "newer version"),
}


@pytest.fixture
def target(new_store: NewStore) -> Iterator[Store]:
    """A store with one job, to be replaced."""
    found = new_store()
    upgrade(found)
    JobBook(found).take_in(read_job(EXAMPLES / "painted-bracket.toml"))
    yield found
    found.close()


def require_untouched(target: Store, backup: Path, said: str, tmp_path: Path) -> None:
    before, kept = everything(target), sorted(files.kept(target.files))
    outside = sorted(path for path in tmp_path.parent.glob("*outside*"))
    with pytest.raises(StoreError, match=said):
        restored_into(target, backup, replace=True)
    assert everything(target) == before
    assert revision_of(target) == newest_revision()
    assert sorted(files.kept(target.files)) == kept
    assert sorted(path for path in tmp_path.parent.glob("*outside*")) == outside


@pytest.mark.parametrize("what", FORGED)
def test_a_forged_backup_changes_nothing(
    store: Store, target: Store, backup: Path, tmp_path: Path, what: str
) -> None:
    filled(store)
    make_backup(store, backup)
    forge, said = FORGED[what]
    packed(backup, forge(unpacked(backup)))
    require_untouched(target, backup, said, tmp_path)


def test_the_forger_tools_make_a_backup_that_is_taken(
    store: Store, target: Store, backup: Path
) -> None:
    """What is refused above is refused for the change, not for how it was packed."""
    filled(store)
    make_backup(store, backup)
    packed(backup, told_anew(unpacked(backup)))
    restored_into(target, backup, replace=True)
    assert everything(target) == everything(store)


@pytest.mark.parametrize("share", [0.0, 0.3, 0.9, 0.999])
def test_a_backup_cut_short_changes_nothing(
    store: Store, target: Store, backup: Path, tmp_path: Path, share: float
) -> None:
    filled(store)
    make_backup(store, backup)
    content = backup.read_bytes()
    backup.write_bytes(content[: int(share * len(content))])
    require_untouched(target, backup, "damaged, or is no backup", tmp_path)


def test_any_changed_byte_is_noticed_or_without_effect(tmp_path: Path, backup: Path) -> None:
    with closing(Store(str(tmp_path / "a" / "jobs.sqlite3"))) as store:
        upgrade(store)
        filled(store)
        make_backup(store, backup)
        expected = everything(store)
    content = backup.read_bytes()
    n_refused = 0
    for place in range(0, len(content), max(len(content) // 60, 1)):
        backup.write_bytes(content[:place] + bytes([content[place] ^ 0x20]) + content[place + 1 :])
        address = tmp_path / f"b{place}" / "jobs.sqlite3"
        try:
            restore(str(address), backup)
        except StoreError:
            n_refused += 1
            assert not address.exists()
            continue
        with closing(Store(str(address))) as found:
            assert everything(found) == expected
    assert n_refused > 40


def test_a_backup_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="The backup can't be read: No such file"):
        restore(str(tmp_path / "jobs.sqlite3"), tmp_path / "nothing.backup")


def test_a_file_of_sqlite_is_no_backup(tmp_path: Path) -> None:
    with closing(sqlite3.connect(tmp_path / "x.sqlite3")) as file:
        file.execute("create table t (a)")
    with pytest.raises(StoreError, match="is no backup"):
        restore(str(tmp_path / "jobs.sqlite3"), tmp_path / "x.sqlite3")
