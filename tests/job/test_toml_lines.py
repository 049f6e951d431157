import time
import tomllib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backprobe.errors import JobFileError
from backprobe.job import Job, write_job
from backprobe.job.toml_lines import KeyPath, key_lines
from tests.job.job_strategies import jobs

VALID = """\
format = 1
# [not.a.table]
[job]  # remark
title = "has # and [brackets] = 3"
note = '''
line = "of a text"
'''

[[round]]
volts = { 1 = 5.01, "2" = "x, y" }
fitted = [
    { from = "1", to = "2", ohms = 1 },  # first
    { from = "2", to = "1", ohms = 2 },
]
[[round]]
a.b = 1
[round.volts]
3 = 2
"""


def test_each_key_has_the_line_on_which_it_stands() -> None:
    lines = key_lines(VALID)
    assert lines["format",] == 1
    assert lines["job",] == 3
    assert lines["job", "title"] == 4
    assert lines["job", "note"] == 5
    assert ("line",) not in lines
    assert ("not",) not in lines
    assert lines["round", 0] == 9
    assert lines["round", 0, "volts", "2"] == 10
    assert lines["round", 0, "fitted"] == 11
    assert lines["round", 0, "fitted", 0, "ohms"] == 12
    assert lines["round", 0, "fitted", 1] == 13
    assert lines["round", 1] == 15
    assert lines["round", 1, "a", "b"] == 16
    assert lines["round", 1, "volts"] == 17
    assert lines["round", 1, "volts", "3"] == 18


def paths_of(value: object, path: KeyPath = ()) -> set[KeyPath]:
    """Every path into a document, from the values that the standard reader gives."""
    here: set[KeyPath] = {path} if path else set()
    if isinstance(value, dict):
        return here.union(*(paths_of(each, (*path, key)) for key, each in value.items()))
    if isinstance(value, list):
        return here.union(*(paths_of(each, (*path, i)) for i, each in enumerate(value)))
    return here


@given(jobs())
@settings(max_examples=20)
def test_no_key_of_a_valid_text_is_missed_and_none_is_made_up(job: Job) -> None:
    """The standard library's reader is the oracle for which keys there are."""
    text = write_job(job)
    assert set(key_lines(text)) == paths_of(tomllib.loads(text))


def test_the_same_for_a_text_with_every_kind_of_key_and_table() -> None:
    assert set(key_lines(VALID)) == paths_of(tomllib.loads(VALID))


@given(st.text(alphabet="[]{}=,.#\"'\\\n ab1é", max_size=60))
def test_no_text_breaks_the_scanner(text: str) -> None:
    lines = key_lines(text)
    assert all(1 <= line <= text.count("\n") + 1 for line in lines.values())


@pytest.mark.parametrize(
    "text",
    [
        "a." * 200_000 + "a = 1",  # the standard reader would need memory with its square
        '"a b".' * 150_000 + "a = 1",
        "[" + "a." * 200_000 + "a]",
        "a = " + "[" * 500_000,
        "a = " + "{ b = " * 150_000,
    ],
    ids=["dotted", "quoted", "heading", "arrays", "inline tables"],
)
def test_nesting_beyond_sense_is_refused_at_once(text: str) -> None:
    start = time.monotonic()
    with pytest.raises(JobFileError) as caught:
        key_lines(text, "job.toml")
    assert time.monotonic() - start < 2
    assert str(caught.value) == (
        "job.toml, line 1: Names or brackets are nested more than 20 deep."
        " Write the key as the description of the job file has it."
    )
