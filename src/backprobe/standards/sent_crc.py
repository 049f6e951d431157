"""The four-bit check sum of SENT frames, in its two forms (SAE J2716).

Polynomial x⁴ + x³ + x² + 1, seed 0101. The recommended form appends four zero bits to the data, the
legacy form does not. The status nibble takes no part in either. Table and loop: [j2716] as quoted
by a semiconductor maker's pages.
"""

from collections.abc import Sequence
from typing import Final

from backprobe.errors import ValueOutOfRange

_SEED: Final = 0b0101
_TABLE: Final = (0, 13, 7, 10, 14, 3, 9, 4, 1, 12, 6, 11, 15, 2, 8, 5)


def recommended_crc(nibbles: Sequence[int]) -> int:
    """Check sum of data nibbles as SAE J2716 recommends it since 2008.

    Raises
    ------
    ValueOutOfRange
        A value isn't from 0 to 15.
    """
    return _TABLE[legacy_crc(nibbles)]


def legacy_crc(nibbles: Sequence[int]) -> int:
    """Check sum of data nibbles as the first edition had it.

    Raises
    ------
    ValueOutOfRange
        A value isn't from 0 to 15.
    """
    check = _SEED
    for nibble in nibbles:
        if not 0 <= nibble <= 15:
            raise ValueOutOfRange(
                f"{nibble} isn't a nibble.", remedy="A nibble is a whole number from 0 to 15."
            )
        check = nibble ^ _TABLE[check]
    return check
