"""Long rows of values in bounded room."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from backprobe.core.waveform.account import Account

VALUES = st.lists(st.one_of(st.floats(-1e3, 1e3), st.just(np.nan)), max_size=80)


@given(VALUES, st.integers(1, 80), st.integers(2, 30))
@settings(deadline=None)
def test_statistics_are_those_of_all_values(values: list[float], size: int, most: int) -> None:
    account = Account(most)
    row, at = np.array(values, dtype=float), np.arange(len(values), dtype=float)
    for a in range(0, row.size, size):
        account.add(at[a : a + size], row[a : a + size])
    found, there = account.result(), row[~np.isnan(row)]
    assert found.count == there.size
    assert found.values.size <= most
    # What is kept is every so many-th value, from the first on.
    assert found.values.tolist() == there[:: found.stride].tolist()
    assert found.instants.tolist() == at[~np.isnan(row)][:: found.stride].tolist()
    if there.size:
        np.testing.assert_allclose(found.mean, there.mean(), rtol=1e-12, atol=1e-10)
        assert (found.lowest, found.highest) == (there.min(), there.max())
        assert row[int(found.lowest_at)] == there.min()
        assert row[int(found.highest_at)] == there.max()
    if there.size > 1:
        np.testing.assert_allclose(found.deviation, there.std(ddof=1), rtol=1e-9, atol=1e-9)
        np.testing.assert_allclose(
            found.mean_uncertainty, there.std(ddof=1) / np.sqrt(there.size), rtol=1e-9, atol=1e-9
        )


def test_nothing_has_no_statistics() -> None:
    found = Account().result()
    assert found.count == 0
    assert np.isnan([found.mean, found.deviation, found.lowest, found.mean_uncertainty]).all()
