"""Contents are kept whole under their hash, once each, and held against it when read."""

import hashlib
from pathlib import Path

import pytest

from backprobe.errors import StoreError
from backprobe.store import files

# FIPS 180-4's example: the hash of "abc", as published with the standard (from memory).
ABC = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


def test_a_content_is_kept_under_its_hash(tmp_path: Path) -> None:
    assert files.put(tmp_path, b"abc") == ABC
    assert (tmp_path / "ba" / "78" / ABC).read_bytes() == b"abc"
    assert files.get(tmp_path, ABC) == b"abc"
    assert list(files.kept(tmp_path)) == [ABC]


def test_the_same_content_is_kept_once_and_nothing_is_left_over(tmp_path: Path) -> None:
    files.put(tmp_path, b"abc")
    files.put(tmp_path, b"abc")
    assert [path.name for path in tmp_path.rglob("*") if path.is_file()] == [ABC]


def test_a_damaged_content_is_not_given_out_and_is_mended_by_the_same(tmp_path: Path) -> None:
    files.put(tmp_path, b"abc")
    files.path_of(tmp_path, ABC).write_bytes(b"abd")
    with pytest.raises(StoreError, match="has changed since it was kept"):
        files.get(tmp_path, ABC)
    files.put(tmp_path, b"abc")
    assert files.get(tmp_path, ABC) == b"abc"


def test_a_missing_content_is_told(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="backprobe doctor"):
        files.get(tmp_path, ABC)


def test_a_failed_write_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(files, "make_durable", full)
    with pytest.raises(StoreError, match="No space left on device"):
        files.put(tmp_path, b"abc")
    assert [path for path in tmp_path.rglob("*") if path.is_file()] == []


@pytest.mark.parametrize("name", ["", "../../etc", ABC.upper(), ABC + "\n", ABC[:-1], "g" * 64])
def test_nothing_but_a_hash_names_a_file(tmp_path: Path, name: str) -> None:
    assert not files.is_hash(name)
    with pytest.raises(ValueError, match="not the hash"):
        files.path_of(tmp_path, name)


def test_hashes_are_those_of_the_library(tmp_path: Path) -> None:
    content = bytes(range(256)) * 9000  # more than one block
    sha256 = files.put(tmp_path, content)
    assert sha256 == hashlib.sha256(content).hexdigest()
    assert files.hash_of(files.path_of(tmp_path, sha256)) == sha256
    assert files.hash_of(tmp_path / "nothing") == ""
