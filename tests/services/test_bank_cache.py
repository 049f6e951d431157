"""The shelf of solved circuits: kept, read again, built again where damaged, refused in words."""

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from backprobe.core.inference.bank import IDLE, KEY_ON, UNPLUGGED
from backprobe.errors import CacheError
from backprobe.families.loader import load_families
from backprobe.services import bank_cache
from backprobe.services.bank_cache import CACHE_VARIABLE, Shelf, Workbench, cache_directory

FAMILY = "thermistor-two-wire"


@pytest.fixture(autouse=True)
def one_family(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """One family only: what is kept and how does not depend on how many there are."""
    some = tuple(f for f in load_families() if f.id == FAMILY)
    monkeypatch.setattr(bank_cache, "load_families", lambda: some)
    return iter(())


def same(one: Workbench, other: Workbench) -> None:
    """Two workbenches hold the same circuits, particles and solutions."""
    assert [(f.id, x.name) for f, x in one.hypotheses.pairs] == [
        (f.id, x.name) for f, x in other.hypotheses.pairs
    ]
    np.testing.assert_array_equal(
        one.hypotheses.table.static.centre, other.hypotheses.table.static.centre
    )
    np.testing.assert_array_equal(one.hypotheses.free_name, other.hypotheses.free_name)
    np.testing.assert_array_equal(one.bank.z, other.bank.z)
    np.testing.assert_array_equal(one.bank.hypothesis, other.bank.hypothesis)
    np.testing.assert_array_equal(one.bank.ohm, other.bank.ohm)
    assert set(one.bank.rounds) == set(other.bank.rounds)
    for r, solved in one.bank.rounds.items():
        np.testing.assert_array_equal(solved.battery, other.bank.rounds[r].battery)
        np.testing.assert_array_equal(solved.celsius, other.bank.rounds[r].celsius)
        for name, field in solved.fields.items():
            np.testing.assert_array_equal(field, other.bank.rounds[r].fields[name])


def no_building(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object) -> None:
        raise AssertionError("circuits were solved again")

    monkeypatch.setattr(bank_cache, "solve_rounds", refuse)
    monkeypatch.setattr(bank_cache, "draw_bank", refuse)


def test_second_shelf_reads_what_the_first_wrote(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = Shelf(tmp_path).bench(2)
    assert set(first.bank.rounds) == {UNPLUGGED, KEY_ON, IDLE}
    no_building(monkeypatch)
    same(first, Shelf(tmp_path).bench(2))


def test_one_shelf_keeps_its_bench_in_memory(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shelf = Shelf(tmp_path)
    bench = shelf.bench(2)
    no_building(monkeypatch)
    for path in tmp_path.iterdir():
        path.unlink()
    assert shelf.bench(2) is bench


def test_a_round_is_solved_when_first_asked_for(tmp_path: Path) -> None:
    shelf = Shelf(tmp_path)
    before = {p.name for p in (shelf.bench(2), tmp_path)[1].iterdir()}
    assert 2 not in shelf.bench(2).bank.rounds
    assert 2 in shelf.bench(2, (2,)).bank.rounds
    added = {p.name for p in tmp_path.iterdir()} - before
    assert len(added) == 1
    assert "crank" in added.pop()


@pytest.mark.parametrize("damage", ["cut short", "foreign", "empty", "another array", "wrong size"])
@pytest.mark.parametrize("part", ["circuits", "unplugged", "idle"])
def test_a_damaged_or_foreign_file_is_built_again(tmp_path: Path, damage: str, part: str) -> None:
    first = Shelf(tmp_path).bench(2)
    (path,) = tmp_path.glob(f"*{part}*")
    if damage == "cut short":
        content = path.read_bytes()
        path.write_bytes(content[: len(content) // 2])
    elif damage == "foreign":
        path.write_bytes(b"this is no bank\n" * 50)
    elif damage == "empty":
        path.write_bytes(b"")
    elif damage == "another array":
        np.savez(path, something=np.zeros(3))
    else:
        with np.load(path) as file:
            arrays = {name: file[name] for name in file.files}
        np.savez(path, **{n: a[: a.shape[0] // 2] if a.ndim else a for n, a in arrays.items()})
    same(first, Shelf(tmp_path).bench(2))
    # It was written again, so that the next one reads it.
    with np.load(path) as file:
        assert len(file.files) > 2


def test_a_flipped_byte_is_found_and_built_again(tmp_path: Path) -> None:
    first = Shelf(tmp_path).bench(2)
    (path,) = tmp_path.glob("*idle*")
    content = bytearray(path.read_bytes())
    content[len(content) // 2] ^= 0xFF
    path.write_bytes(bytes(content))
    same(first, Shelf(tmp_path).bench(2))


def test_a_directory_that_cannot_be_written_is_named_with_a_remedy(tmp_path: Path) -> None:
    # Below a regular file nothing can be made, whatever the user's rights.
    file = tmp_path / "a file"
    file.write_text("no directory", encoding="utf-8")
    with pytest.raises(CacheError) as caught:
        Shelf(file / "cache").bench(2)
    assert str(file / "cache") in str(caught.value)
    assert CACHE_VARIABLE in caught.value.remedy
    assert file.read_text(encoding="utf-8") == "no directory"


def test_the_environment_names_the_directory(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(CACHE_VARIABLE, str(tmp_path / "own"))
    assert cache_directory() == tmp_path / "own"
    assert Shelf().directory == tmp_path / "own"
    monkeypatch.delenv(CACHE_VARIABLE)
    assert cache_directory().name.startswith("backprobe")


def test_no_half_written_file_is_left_behind(tmp_path: Path) -> None:
    Shelf(tmp_path).bench(2)
    assert len(list(tmp_path.iterdir())) == 4
    assert all(p.suffix == ".npz" for p in tmp_path.iterdir())


def test_progress_goes_from_nothing_to_all(tmp_path: Path) -> None:
    told: list[tuple[str, float]] = []
    Shelf(tmp_path).bench(2, progress=lambda text, share: told.append((text, share)))
    assert told[0] == ("drawing up circuits", 0.0)
    shares = [share for text, share in told if text == "solving circuits"]
    assert shares == sorted(shares)
    assert all(0.0 < share <= 1.0 for share in shares)
    assert shares[-1] == pytest.approx(1.0)
    told.clear()
    Shelf(tmp_path).bench(2, progress=lambda text, share: told.append((text, share)))
    assert not told


_BUILD = """
import sys
from pathlib import Path
from backprobe.families.loader import load_families
from backprobe.services import bank_cache
some = tuple(f for f in load_families() if f.id == sys.argv[2])
bank_cache.load_families = lambda: some
bench = bank_cache.Shelf(Path(sys.argv[1])).bench(2)
print(bench.bank.z.shape[0])
"""


def test_two_processes_build_the_same_bank_at_once(tmp_path: Path) -> None:
    command = [sys.executable, "-c", _BUILD, str(tmp_path), FAMILY]
    both = [
        subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        for _ in range(2)
    ]
    said = [p.communicate(timeout=120) for p in both]
    assert [p.returncode for p in both] == [0, 0], said
    assert said[0][0] == said[1][0]
    # Both wrote the same four files, and nothing half written is left; each can be read.
    assert len(list(tmp_path.iterdir())) == 4
    for path in tmp_path.iterdir():
        with np.load(path, allow_pickle=False) as file:
            assert all(file[name] is not None for name in file.files)
