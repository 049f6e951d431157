import pytest
from crccheck.crc import Crc  # type: ignore[import-untyped]
from hypothesis import given
from hypothesis import strategies as st

from backprobe.errors import ValueOutOfRange
from backprobe.standards.sent_crc import legacy_crc, recommended_crc

# Worked examples that are printed with public descriptions of SAE J2716: data, recommended, legacy.
EXAMPLES = [
    ([5, 3, 14, 5, 3, 14], 15, 12),
    ([7, 4, 8, 7, 4, 8], 3, 5),
    ([4, 10, 12, 4, 10, 12], 10, 3),
    ([7, 8, 15, 7, 8, 15], 5, 15),
    ([9, 1, 13, 9, 1, 13], 6, 10),
    ([0, 0, 0, 0, 0, 0], 5, 15),
]


@pytest.mark.parametrize(("data", "recommended", "legacy"), EXAMPLES)
def test_published_examples(data: list[int], recommended: int, legacy: int) -> None:
    assert recommended_crc(data) == recommended
    assert legacy_crc(data) == legacy


def bitwise(bits: list[int]) -> int:
    """Long division by 11101, seed 0101 in front: no table."""
    register = 0b0101
    for bit in bits:
        register = register << 1 | bit
        if register & 0b10000:
            register ^= 0b11101
    return register


def as_bits(nibbles: list[int]) -> list[int]:
    return [nibble >> place & 1 for nibble in nibbles for place in (3, 2, 1, 0)]


@given(st.lists(st.integers(0, 15), min_size=1, max_size=6))
def test_agrees_with_long_division_and_with_a_library(data: list[int]) -> None:
    assert recommended_crc(data) == bitwise([*as_bits(data), 0, 0, 0, 0])
    assert legacy_crc(data) == bitwise(as_bits(data))
    if len(data) % 2 == 0:
        # The library takes bytes. Seed 5 before the division is 3 in its direct form.
        pairs = [data[i] << 4 | data[i + 1] for i in range(0, len(data), 2)]
        library = Crc(4, 0xD, initvalue=0x3)
        library.process(pairs)
        assert recommended_crc(data) == library.final()


@given(
    st.lists(st.integers(0, 15), min_size=1, max_size=6),
    st.integers(0, 5),
    st.integers(1, 15),
)
def test_any_single_changed_nibble_is_seen(data: list[int], place: int, change: int) -> None:
    other = list(data)
    other[place % len(data)] ^= change
    assert recommended_crc(other) != recommended_crc(data)
    assert legacy_crc(other) != legacy_crc(data)


@pytest.mark.parametrize("nibble", [-1, 16])
def test_what_is_no_nibble_is_refused(nibble: int) -> None:
    with pytest.raises(ValueOutOfRange, match=r"isn't a nibble\. A nibble is a whole number"):
        recommended_crc([1, nibble])
