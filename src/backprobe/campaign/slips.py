"""Slips of the pen: one reading written down wrong."""

from dataclasses import replace

from backprobe.campaign.spreads import Random, pick
from backprobe.job.model import Indication, Round


def slip(rounds: tuple[Round, ...], rng: Random) -> tuple[tuple[Round, ...], str]:
    """Spoil one DC reading of one round; give the rounds and the name of the reading."""
    candidates = [number for number, written in enumerate(rounds) if len(written.volts) > 1]
    if not candidates:
        return rounds, ""
    number = candidates[int(rng.integers(len(candidates)))]
    written = rounds[number]
    pins = list(written.volts)
    pin = pins[int(rng.integers(len(pins)))]
    true = written.volts[pin]
    kind = pick(rng, (0.4, "point"), (0.3, "row"), (0.3, "digits"))
    if kind == "row":
        wrong = written.volts[pins[(pins.index(pin) + 1) % len(pins)]]
    elif kind == "point":
        wrong = _rewritten(true, true.value * (10.0 if rng.random() < 0.5 else 0.1))
    else:
        wrong = _digits_exchanged(true)
    if wrong.value == true.value:
        return rounds, ""
    spoilt = replace(written, volts={**written.volts, pin: wrong})
    return (*rounds[:number], spoilt, *rounds[number + 1 :]), f"{written.name} volts {pin}"


def _rewritten(true: Indication, value: float) -> Indication:
    if abs(value) >= 100.0:
        return true
    text = f"{value:.3f}"
    return Indication(float(text), written=text)


def _digits_exchanged(true: Indication) -> Indication:
    text = true.written
    if text.endswith("mV") or "." not in text:
        return true
    whole, _, decimals = text.partition(".")
    exchanged = f"{whole}.{decimals[1::-1]}{decimals[2:]}"
    return Indication(float(exchanged), written=exchanged)
