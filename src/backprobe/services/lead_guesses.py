"""What the checks of doubtful rounds suggest of their black leads, to search from.

No explanation is judged by these values; they only say where to look.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from backprobe.core.inference.black_lead import behind_leads
from backprobe.core.inference.layout import Layout
from backprobe.core.inference.readings import BY_METER
from backprobe.core.inference.sheet import Quantity, Sheet

Array = NDArray[np.float64]

SMALLEST_CHECK_VOLT = 2.0  # below it a check tells nothing of a gain
FIRST_SHARE = 0.8  # of the volts that a lead leaves, where both more and less make a difference
LEAST_SHARE, MOST_SHARE = 0.02, 0.97
UNGUIDED_VOLT = 100.0  # deviation of a reading that is to suggest nothing, V


@dataclass(frozen=True, slots=True)
class LeadGuess:
    """One way in which the leads of some rounds may be bad.

    sheet : Sheet: readings as sound leads would have shown them, with doubts.
    lift : ndarray, shape (R,): volts of the black lead's point above battery negative, V.
    share : ndarray, shape (R,): what the meter shows of a voltage behind it.
    """

    sheet: Sheet
    lift: Array
    share: Array

    def behind(self, layout: Layout, z: Array, rounds: tuple[int, ...]) -> Array:
        """Coordinates (M, n_z) with the leads of these rounds as guessed."""
        which = np.array(rounds, dtype=np.int64)
        share = np.clip(self.share[which], LEAST_SHARE, MOST_SHARE)
        ohm = self.sheet.input_ohm * (1.0 - share) / share
        return behind_leads(layout, z, which, self.lift[which], ohm)


def no_guess(sheet: Sheet) -> LeadGuess:
    """Nothing known of the leads: not lifted, and where their resistance can go either way."""
    n_round = len(sheet.rounds)
    return LeadGuess(sheet, np.zeros(n_round), np.full(n_round, FIRST_SHARE))


def lead_guesses(sheet: Sheet, rounds: tuple[int, ...]) -> list[LeadGuess]:
    """What the checks of some rounds miss as an offset, as a gain, and as both.

    Both, that is with the lowest reading of the round taken for a ground. Empty without rounds,
    and where a check or a battery reading is missing.
    """
    n_round = len(sheet.rounds)
    battery, check, low = np.ones(n_round), np.ones(n_round), np.zeros(n_round)
    for r in rounds:
        posts, point = (_in_round(sheet, q, r) for q in (Quantity.BATTERY, Quantity.LEAD_CHECK))
        if not posts.size or not point.size or point[0] < SMALLEST_CHECK_VOLT:
            return []
        battery[r], check[r] = posts[0], point[0]
        low[r] = min(_in_round(sheet, Quantity.VOLTS, r), default=0.0)
    both = np.maximum((check - low) / battery, LEAST_SHARE)
    none, whole = np.zeros(n_round), np.ones(n_round)
    ways = ((battery - check, whole), (none, check / battery), (-low / both, both))
    if not rounds:
        return []
    return [_as_sound(sheet, rounds, lift, share, battery - check) for lift, share in ways]


def _in_round(sheet: Sheet, quantity: Quantity, r: int) -> Array:
    value = sheet.value[(sheet.quantity == quantity) & (sheet.round == r)]
    return np.asarray(value[np.isfinite(value)])


def _as_sound(
    sheet: Sheet, rounds: tuple[int, ...], lift: Array, share: Array, missing: Array
) -> LeadGuess:
    """The sheet with what such leads took put back, doubted by half of what is missing.

    What a loading resistor left behind such a point suggests nothing.
    """
    behind = np.isin(sheet.quantity, [int(q) for q in BY_METER if q != Quantity.BATTERY])
    behind &= np.isin(sheet.round, rounds)
    loaded = sheet.quantity == Quantity.VOLTS_LOADED
    value = sheet.value / share[sheet.round] + lift[sheet.round]
    doubt = sheet.deviation + 0.5 * np.abs(missing[sheet.round])
    doubt = np.where(loaded, UNGUIDED_VOLT, doubt)
    corrected = replace(
        sheet,
        value=np.where(behind, value, sheet.value),
        deviation=np.where(behind, doubt, sheet.deviation),
    )
    return LeadGuess(corrected, lift, share)
