"""One secret at a time lets one further device in: as a QR code, or as a code to be typed."""

from __future__ import annotations

import hmac
import math
import secrets
import threading
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from backprobe.store.columns import now
from backprobe.web.rate_limit import Failures
from backprobe.web.visitor import RefusedError

VALID_FOR: Final = timedelta(minutes=10)
# Read off a screen and typed with a thumb: nothing that looks like something else, no vowels.
ALPHABET: Final = "23456789BCDFGHJKMNPQRSTVWXYZ"
CODE_LENGTH: Final = 8  # 28 ** 8 = 3.8e11 codes; the attempts are limited
REFUSED: Final = 403
TOO_MANY: Final = 429


@dataclass(frozen=True, slots=True)
class Offer:
    """What lets one device in, until it is used or too old."""

    secret: str
    code: str
    until: datetime

    @property
    def shown_code(self) -> str:
        """The code in two halves, as it is read out."""
        half = CODE_LENGTH // 2
        return f"{self.code[:half]}-{self.code[half:]}"

    def matches(self, given: str) -> bool:
        """Whether the secret or the code was given; takes as long whatever was given."""
        typed = "".join(given.upper().split()).replace("-", "")
        is_secret = hmac.compare_digest(
            given.strip().encode(errors="replace"), self.secret.encode()
        )
        is_code = hmac.compare_digest(typed.encode(errors="replace"), self.code.encode())
        return is_secret or is_code


class Pairing:
    """The offer that stands now, and who may still try.

    Parameters
    ----------
    failures : Failures or None
        Counts wrong attempts.
    clock : callable
        Gives the present instant.
    """

    def __init__(
        self, failures: Failures | None = None, clock: Callable[[], datetime] = now
    ) -> None:
        self.failures = failures or Failures()
        self.clock = clock
        self._offer: Offer | None = None
        self._lock = threading.Lock()

    def offer(self) -> Offer:
        """The offer that stands; a new one where it was used or is too old."""
        with self._lock:
            return self._standing() or self._renewed()

    def renew(self) -> Offer:
        """Take back the offer that stands and make a new one."""
        with self._lock:
            return self._renewed()

    def redeem(self, given: str, address: str) -> None:
        """Use up the offer.

        Raises
        ------
        RefusedError
            The offer isn't the one given, or there were too many wrong attempts.
        """
        with self._lock:
            wait = self.failures.wait(address)
            if wait > 0:
                raise _too_many(wait)
            offer = self._standing()
            if offer is None or not offer.matches(given):
                self.failures.note(address)
                raise RefusedError(
                    "This code isn't the one shown on the computer, or it was used or is too old.",
                    remedy="Have a new code shown there, under /devices, and enter it here.",
                    status=REFUSED,
                )
            self._offer = None

    def _standing(self) -> Offer | None:
        offer = self._offer
        return offer if offer is not None and self.clock() < offer.until else None

    def _renewed(self) -> Offer:
        code = "".join(secrets.choice(ALPHABET) for _ in range(CODE_LENGTH))
        self._offer = Offer(secrets.token_urlsafe(16), code, self.clock() + VALID_FOR)
        return self._offer


def _too_many(wait: float) -> RefusedError:
    seconds = math.ceil(wait)
    return RefusedError(
        "There were too many wrong codes.",
        remedy=f"Wait {seconds} seconds, then enter the code again.",
        status=TOO_MANY,
        headers={"Retry-After": str(seconds)},
    )
