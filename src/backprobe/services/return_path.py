"""What a sensor ground shows of its own wire: its lift, the current through it, its resistance.

A ground stands above battery negative because of the current of all that shares it. What the
sensor's own current adds is the difference between plugged and unplugged; divided by that current
it is the resistance of the return. The current is known where every wire beside the ground is fed
through a pull-up that was measured with a load: V0 open, V1 with the load R, so that the pull-up is
R (V0 / V1 - 1), and with the sensor plugged in (V0 - V) over it flows (Ohm's law).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import hypot
from typing import Final

from backprobe.job import Indication, Meter, Round
from backprobe.services.accuracy import standard_uncertainty

PULLED_UP: Final = ("signal-thermistor", "signal-switch")
WITHOUT_CURRENT: Final = ("not-used", "shield", "")
WANDER_VOLT: Final = 0.005  # what a ground moves by itself between two rounds (common practice)
COVERAGE: Final = 2.0  # standard uncertainties that a difference has to exceed
LEAST_AMPERE: Final = 1e-4  # below it no return is judged: 1 ohm would be 0.1 mV
LEAST_LOADED_VOLT: Final = 0.05  # below it a pull-up is not known well enough


@dataclass(frozen=True, slots=True)
class ReturnPath:
    """A sensor ground in one plugged round.

    Attributes
    ----------
    round : str
    volts : float
        Ground against the black lead's point, V.
    current : float or None
        The sensor's own current into the ground, A; None where it isn't known.
    unplugged : float or None
        The same ground without it, V; None where it wasn't read in the same state.
    ohms : float or None
        Resistance of the return, from what the current adds; None where that isn't known, or is no
        more than readings wander.
    """

    round: str
    volts: float
    current: float | None = None
    unplugged: float | None = None
    ohms: float | None = None

    @property
    def most_ohms(self) -> float | None:
        """Resistance of the return if nothing but the sensor's current flowed through it."""
        return None if self.current is None else self.volts / self.current


def return_paths(
    ground: str, roles: Mapping[str, str], rounds: Sequence[Round], meter: Meter
) -> Iterator[ReturnPath]:
    """Every plugged round in which a ground was read.

    Parameters
    ----------
    ground : str
        Its pin.
    roles : mapping
        Role of every pin, "?" where it isn't known.
    rounds : sequence of Round
        Rounds whose measurement is sound.
    meter : Meter
        It bounds what a difference of two readings may mean.
    """
    for r in rounds:
        if not r.plugged or not _is_number(r.volts.get(ground)):
            continue
        volts, current = r.volts[ground].value, _own_current(ground, roles, r, rounds)
        free = _unplugged(ground, r, rounds)
        if free is None:
            yield ReturnPath(r.name, volts, current)
            continue
        added = volts - free.value
        noise = COVERAGE * hypot(
            *(standard_uncertainty(meter, "volts", each) for each in (r.volts[ground], free)),
            WANDER_VOLT,
        )
        ohms = None if current is None or added <= noise else added / current
        yield ReturnPath(r.name, volts, current, free.value, ohms)


def _own_current(
    ground: str, roles: Mapping[str, str], plugged: Round, rounds: Sequence[Round]
) -> float | None:
    others = {pin: role for pin, role in roles.items() if pin != ground}
    fed = [pin for pin, role in others.items() if role in PULLED_UP]
    if any(role not in PULLED_UP and role not in WITHOUT_CURRENT for role in others.values()):
        return None
    currents = [_pulled_up_current(pin, plugged, rounds) for pin in fed]
    known = [each for each in currents if each is not None]
    if not known or len(known) < len(currents) or sum(known) < LEAST_AMPERE:
        return None
    return sum(known)


def _pulled_up_current(pin: str, plugged: Round, rounds: Sequence[Round]) -> float | None:
    """Current through a measured pull-up into the plugged sensor, A."""
    for r in reversed(rounds):
        free, loaded = r.volts.get(pin), r.volts_loaded.get(pin)
        if r.plugged or free is None or loaded is None or r.fitted:
            continue
        if not LEAST_LOADED_VOLT < loaded.value < free.value:
            return None
        pull_up = r.load_ohms * (free.value / loaded.value - 1.0)
        now = plugged.volts.get(pin)
        if now is None or not _is_number(now):
            return None
        return max(0.0, (free.value - now.value) / pull_up)
    return None


def _unplugged(ground: str, plugged: Round, rounds: Sequence[Round]) -> Indication | None:
    """The same ground with the sensor hanging free, all else alike."""
    for r in reversed(rounds):
        alike = (r.key, r.black_lead, r.fitted) == (plugged.key, plugged.black_lead, ())
        found = r.volts.get(ground)
        if not r.plugged and alike and found is not None and _is_number(found):
            return found
    return None


def _is_number(indication: Indication | None) -> bool:
    return indication is not None and not indication.over_range
