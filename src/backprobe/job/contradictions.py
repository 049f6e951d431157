"""What can't be true together in one round."""

from dataclasses import dataclass

from backprobe.job.model import Round
from backprobe.quantities import format_quantity


@dataclass(frozen=True, slots=True)
class Contradiction:
    """What contradicts what, how to mend it, and the key at which to look."""

    what: str
    remedy: str
    key: str


def find_contradiction(found: Round) -> Contradiction | None:
    """Find the first thing in a round that can't be; None where all is possible."""
    return _in_state(found) or _in_ohms(found) or _in_extremes(found)


def _in_state(found: Round) -> Contradiction | None:
    if found.rpm <= 0 or found.key in ("crank", "run"):
        return None
    return Contradiction(
        f"Round {found.name} has the key {found.key} and the engine turning at {found.rpm:g} rpm.",
        'With the engine running the key is "run", with the starter turning it "crank";'
        " else rpm is 0.",
        "rpm",
    )


def _in_ohms(found: Round) -> Contradiction | None:
    if found.sensor_ohms and found.plugged:
        return Contradiction(
            f"Round {found.name} has sensor_ohms with the sensor plugged in; the harness and the"
            " control unit would be measured with it.",
            "Measure at the unplugged sensor and write plugged = false.",
            "sensor_ohms",
        )
    if found.harness_ohms and (found.plugged or found.key != "off"):
        state = "the sensor plugged in" if found.plugged else f"the key {found.key}"
        return Contradiction(
            f"Round {found.name} has harness_ohms with {state}; a resistance can only be measured"
            " on a dead circuit.",
            'Key off, unplug, measure again in a round with plugged = false and key = "off".',
            "harness_ohms",
        )
    return None


def _in_extremes(found: Round) -> Contradiction | None:
    for kind, words in (("volts", "value"), ("level", "level")):
        highest = getattr(found, f"{kind}_high")
        for pin, low in getattr(found, f"{kind}_low").items():
            high = highest.get(pin)
            if high is not None and low.value > high.value:
                return Contradiction(
                    f"Round {found.name}, pin {pin}: the lowest {words}"
                    f" {format_quantity(low.value, 'volt')} is above the highest"
                    f" {format_quantity(high.value, 'volt')}.",
                    f"Exchange {kind}_high and {kind}_low.",
                    f"{kind}_low",
                )
    return None
