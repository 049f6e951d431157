"""Files come in piece by piece, each piece once, and nothing strange becomes a path."""

import os
import time
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from backprobe.errors import ConflictError, NotFoundError, ValueOutOfRange
from backprobe.services import incoming
from backprobe.store.engine import Store


@pytest.fixture
def place(tmp_path: Path) -> Store:
    """A store of which only the folder beside it is used."""
    return Store(str(tmp_path / "jobs.sqlite3"), tmp_path / "files")


@given(content=st.binary(min_size=1, max_size=200), cuts=st.lists(st.integers(0, 200), max_size=5))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_pieces_sent_twice_make_the_file_once(
    place: Store, content: bytes, cuts: list[int]
) -> None:
    there = incoming.begin(place, "a job", "snap.csv", len(content))
    edges = sorted({0, len(content), *(cut for cut in cuts if cut < len(content))})
    for start, end in pairwise(edges):
        for _ in range(2):
            there = incoming.append(place, there.key, start, content[start:end])
    assert there.is_whole
    assert there.path.read_bytes() == content


def test_a_piece_that_does_not_join_on_says_where_to_go_on(place: Store) -> None:
    there = incoming.begin(place, "a job", "snap.csv", 10)
    incoming.append(place, there.key, 0, b"1234")
    with pytest.raises(ConflictError, match="4 bytes of the file are there"):
        incoming.append(place, there.key, 6, b"78")
    with pytest.raises(ValueOutOfRange, match="more than the 10 bytes"):
        incoming.append(place, there.key, 4, b"5678901")


@pytest.mark.parametrize("size", [0, -1, incoming.LARGEST + 1])
def test_an_empty_or_huge_file_is_refused_before_it_is_sent(place: Store, size: int) -> None:
    with pytest.raises(ValueOutOfRange, match=r"up to 4\.3 GB are taken in"):
        incoming.begin(place, "a job", "snap.csv", size)


@pytest.mark.parametrize("key", ["", "..", "../jobs", "0" * 31, "A" * 32, "a/" * 16])
def test_what_is_no_key_of_ours_reaches_no_file(place: Store, key: str) -> None:
    for ask in (incoming.found, incoming.give_up):
        with pytest.raises(NotFoundError, match="no longer on its way in"):
            ask(place, key)


def test_what_nobody_takes_in_is_given_up_after_a_day(place: Store) -> None:
    old = incoming.begin(place, "a job", "old.csv", 5)
    new = incoming.begin(place, "a job", "new.csv", 5)
    os.utime(old.path, (0, time.time() - incoming.LONGEST_WAIT - 60))
    assert incoming.give_up_old(place) == 1
    assert incoming.found(place, new.key).name == "new.csv"
    with pytest.raises(NotFoundError):
        incoming.found(place, old.key)
