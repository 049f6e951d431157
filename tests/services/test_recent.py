"""What was put last is kept, and no more than so many."""

from hypothesis import given
from hypothesis import strategies as st

from backprobe.services.recent import Recent


@given(st.lists(st.sampled_from("abcdef")), st.integers(1, 4))
def test_the_last_ones_put_are_kept(keys: list[str], most: int) -> None:
    recent: Recent[int] = Recent(most)
    for number, key in enumerate(keys):
        recent.put(key, number)
    last = {key: number for number, key in enumerate(keys)}
    kept = sorted(last, key=lambda key: last[key])[-most:]
    for key in "abcdef":
        assert recent.get(key) == (last[key] if key in kept else None)
        assert recent.pop(key) == (last[key] if key in kept else None)
        assert recent.get(key) is None
