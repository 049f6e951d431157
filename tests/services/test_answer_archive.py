"""Answers come back from the archive as they went in, found by all that they depend on."""

import math
from dataclasses import replace

import pytest

from backprobe.job import read_job, write_job
from backprobe.services import answer_archive
from backprobe.services.answer import Answer
from backprobe.services.answer_archive import (
    answer_as_text,
    answer_from_text,
    find_answer,
    input_hash,
    keep_answer,
    latest_answer,
    packed,
)
from backprobe.services.explain import answer_of
from backprobe.services.job_book import JobBook
from backprobe.store.engine import Store
from tests.services.sheets import EXAMPLES, after

FILE = EXAMPLES / "half-a-sheet.toml"
TEXT = write_job(read_job(FILE))
PARAMETERS = {"whole": True, "limits": [], "costs": []}


def an_answer() -> Answer:
    return answer_of(after("half-a-sheet"))


@pytest.mark.parametrize("size", [math.inf, 123.5])
def test_an_answer_comes_back_as_it_went_in(size: float) -> None:
    answer = replace(an_answer(), effective_sample_size=size)
    assert answer_from_text(answer_as_text(answer)) == answer


def test_the_same_input_keeps_the_answer_that_it_had_first(store: Store) -> None:
    _, sheet = JobBook(store).take_in(read_job(FILE))
    first = an_answer()
    for answer in (first, replace(first, settled=not first.settled)):
        with store.write() as session:
            keep_answer(
                session, sheet, packed(answer), job_file=TEXT, parameters=PARAMETERS, seconds=0.1
            )
    with store.read() as session:
        found = find_answer(session, sheet, TEXT, PARAMETERS)
        latest = latest_answer(session, sheet)
        assert found == latest
        assert found is not None
        assert (found.answer, found.job_file, found.parameters) == (first, TEXT, PARAMETERS)
        other = PARAMETERS | {"limits": [["x", 1]]}
        assert find_answer(session, sheet, TEXT, other) is None
        assert find_answer(session, sheet, TEXT, other, PARAMETERS) == found


def test_whatever_an_answer_depends_on_changes_its_hash(monkeypatch: pytest.MonkeyPatch) -> None:
    hashes = [
        input_hash(TEXT, PARAMETERS),
        input_hash(TEXT + " ", PARAMETERS),
        input_hash(TEXT, PARAMETERS | {"whole": False}),
        input_hash(TEXT, PARAMETERS | {"limits": [["x", 1.0]]}),
        input_hash(TEXT, PARAMETERS | {"costs": [["x", 1.0]]}),
    ]
    monkeypatch.setattr(answer_archive, "versions", lambda: {"numpy": "another"})
    hashes.append(input_hash(TEXT, PARAMETERS))
    assert len(set(hashes)) == len(hashes)
