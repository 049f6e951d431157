import pickle

import pytest

from backprobe.errors import (
    BackprobeError,
    CacheError,
    FamilyFileError,
    JobFileError,
    NoUniqueAnswer,
    QuantityError,
    UsageError,
    ValueOutOfRange,
)


def test_an_error_is_one_paragraph_of_place_fault_and_remedy() -> None:
    error = JobFileError(
        "There is\nno title.", where="intake.toml, line 3", remedy='Add title = "..." below [job].'
    )
    assert str(error) == ('intake.toml, line 3: There is no title. Add title = "..." below [job].')


def test_an_error_without_place_or_remedy_has_no_loose_punctuation() -> None:
    assert str(UsageError("Nothing was given.")) == "Nothing was given."


@pytest.mark.parametrize(
    "kind",
    [CacheError, FamilyFileError, JobFileError, QuantityError, UsageError, ValueOutOfRange],
)
def test_every_error_belongs_to_the_tree_and_survives_pickling(kind: type[BackprobeError]) -> None:
    error = pickle.loads(pickle.dumps(kind("What.", "Where", "Remedy.")))  # noqa: S301 - our own bytes
    assert isinstance(error, BackprobeError)
    assert type(error) is kind
    assert str(error) == "Where: What. Remedy."


def test_a_floating_node_is_named_and_survives_pickling() -> None:
    error = pickle.loads(pickle.dumps(NoUniqueAnswer(node="signal.pin")))  # noqa: S301 - our own bytes
    assert isinstance(error, NoUniqueAnswer)
    assert error.node == "signal.pin"
    assert str(error) == "The voltage of node signal.pin isn't determined."
