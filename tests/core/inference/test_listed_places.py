"""Places in a list against examples worked by hand."""

from collections.abc import Callable

import numpy as np
import pytest

from backprobe.core.inference.listed_places import mean_reciprocal_rank, top_share
from backprobe.errors import ValueOutOfRange


def test_reciprocal_rank_of_the_usual_example() -> None:
    # Places 3, 2 and 1: (1/3 + 1/2 + 1) / 3 = 11/18, the example found in most introductions.
    assert mean_reciprocal_rank(np.array([3, 2, 1])) == pytest.approx(11 / 18)
    assert mean_reciprocal_rank(np.array([0, 1])) == 0.5


def test_top_shares_count_only_what_was_listed() -> None:
    places = np.array([1, 1, 2, 3, 0])
    assert [top_share(places, k).count for k in (1, 2, 3, 9)] == [2, 3, 4, 4]
    assert top_share(places, 1).share == pytest.approx(0.4)


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda: mean_reciprocal_rank(np.array([-1])), "Count from 1"),
        (lambda: top_share(np.array([1]), 0), "first 0 entries"),
    ],
)
def test_unusable_arguments_are_refused(call: Callable[[], object], text: str) -> None:
    with pytest.raises(ValueOutOfRange, match=text):
        call()
