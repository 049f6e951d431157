"""Remarks in words on the measurement itself."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from backprobe.core.inference.readings import BY_METER
from backprobe.core.inference.sheet import Quantity
from backprobe.job import Round
from backprobe.quantities import format_quantity
from backprobe.services.answer import DOUBTFUL_BELOW
from backprobe.services.engine import Posterior
from backprobe.services.limit_remarks import (
    battery_remarks,
    circuit_remarks,
    lead_remarks,
    missing_volts,
)
from backprobe.services.limits import BLACK_LEAD, DEFAULT_LIMITS, Limits
from backprobe.services.misfit import blamed
from backprobe.services.summary import Trust, best_roles, role_probabilities
from backprobe.services.what_is_there import share_of, watches_a_wheel
from backprobe.services.words import FIT_NOTHING, reading_words
from backprobe.vocabulary import BATTERY_NEGATIVE, ROLES

BAD_BELOW = 0.5
SLIP_FACTORS = (1e-3, 1e3)
HIGHEST_VOLT = 60.0  # DC that no wire of these circuits carries: more than two batteries in series
MAY_COME, LIKELY_COMES = 0.2, 0.75  # probability of a fault that comes and goes, to say so
MAY_WATCH = 0.1  # least probability of a circuit that is worth a remark
FITS_LITTLE = 0.01  # chance of a surprise as large as that of the readings
MADE_VOLT = 0.05  # AC that no stray field explains, V (common practice)
DEAD_VOLT, LIVE_VOLT = 1.0, 7.0  # of a battery feed, V (common practice)
SWITCHING_ROLES = ("signal-switching",)


def remarks(
    posterior: Posterior,
    trusted: Trust,
    misfit_probability: float,
    limits: Limits = DEFAULT_LIMITS,
) -> tuple[str, ...]:
    """What a technician should know of the readings before what they say."""
    found = [
        *_lead(posterior, trusted, limits),
        *lead_remarks(posterior, trusted, limits),
        *_key(trusted),
        *_home(trusted),
        *battery_remarks(posterior, limits),
        *_slips(posterior, trusted),
        *_switching(posterior),
        *_wiggled(posterior),
        *_wheel(posterior, misfit_probability),
        *_silent_supply(posterior),
        *_feed_relay(posterior, trusted),
        *circuit_remarks(posterior, trusted, limits),
    ]
    if misfit_probability < 0.001 and len(_odd(posterior, trusted)) > 1:
        found.append(FIT_NOTHING)
    return tuple(found)


def _lead(posterior: Posterior, trusted: Trust, limits: Limits) -> Iterator[str]:
    for item in posterior.problem.rounds:
        share = trusted.lead[item.name]
        if share < BAD_BELOW:
            yield f"Round {item.name}: {_bad_lead(item, limits)}; its values prove nothing."
        elif share < DOUBTFUL_BELOW:
            yield f"Round {item.name}: {_doubtful_lead(item)}: both must agree."


def _bad_lead(item: Round, limits: Limits) -> str:
    missing = _check(item, limits)
    if item.black_lead == BATTERY_NEGATIVE:
        return (
            f"the black lead had no sound contact on battery negative{missing}. Clean the post, "
            f"check the lead and its clip, and read this round again"
        )
    return (
        f'the black lead on "{item.black_lead}" is not a sound ground point{missing}. Move it to '
        f"battery negative and read this round again"
    )


def _doubtful_lead(item: Round) -> str:
    if item.black_lead == BATTERY_NEGATIVE:
        return (
            "the black lead's contact on battery negative is in doubt. Measure from battery "
            "positive to its clip and across the battery posts"
        )
    return (
        f'the black lead\'s point "{item.black_lead}" is in doubt. Measure from battery positive '
        f"to that point and across the battery posts"
    )


def _check(item: Round, limits: Limits) -> str:
    missing = missing_volts(item)
    if missing is None or limits[BLACK_LEAD].standing(abs(missing)) != "bad":
        return ""
    return f" ({format_quantity(missing, 'volt')} are missing against the battery posts)"


def _key(trusted: Trust) -> Iterator[str]:
    for name, share in trusted.key.items():
        if share < BAD_BELOW:
            yield (
                f"Round {name} reads as if the key was not on. Switch the ignition on, wait, "
                f"and read it again."
            )
        elif share < DOUBTFUL_BELOW:
            yield f"Round {name}: make sure that the key was really on."


def _home(trusted: Trust) -> Iterator[str]:
    for name, share in trusted.home.items():
        if share < BAD_BELOW:
            yield (
                f"Round {name} reads as if the sensor was not plugged in. Push its connector home "
                f"until it clicks, and read it again."
            )
        elif share < DOUBTFUL_BELOW:
            yield f"Round {name}: make sure that the connector was home."


def _odd(posterior: Posterior, trusted: Trust) -> list[int]:
    """Readings that don't fit, of rounds that are not distrusted as a whole."""
    condition, row = posterior.best_fit
    sheet = posterior.problem.conditions[condition].sheet
    named = blamed(posterior.fits[condition], row, sheet.label)
    places = [sheet.label.index(label) for label in named]
    names = [r.name for r in posterior.problem.rounds]
    return [i for i in places if trusted.rounds[names[int(sheet.round[i])]] >= BAD_BELOW]


def _slips(posterior: Posterior, trusted: Trust) -> Iterator[str]:
    """Readings that fit after all when their unit slips by a thousand, and others that don't."""
    condition, row = posterior.best_fit
    fits = posterior.fits[condition]
    sheet = posterior.problem.conditions[condition].sheet
    for i in _odd(posterior, trusted):
        label = sheet.label[i]
        quantity = Quantity(int(sheet.quantity[i]))
        value, expected = float(sheet.value[i]), float(fits.predicted[row, i])
        if quantity in (Quantity.HERTZ, Quantity.SENSOR_OHM, Quantity.HARNESS_OHM):
            expected = float(np.exp(np.clip(expected, -20, 40)))
        if not np.isfinite(value) or not np.isfinite(expected):
            continue
        slipped = _slipped(value, expected)
        if slipped is None and quantity in BY_METER and abs(value) > HIGHEST_VOLT:
            slipped = value * min(SLIP_FACTORS)
        if slipped is not None:
            unit = "hertz" if quantity == Quantity.HERTZ else "volt"
            unit = "ohm" if "ohms" in label else unit
            yield (
                f"{reading_words(label)} would fit as {format_quantity(slipped, unit)}: was the "
                f"unit (milli or kilo) written down wrong by a thousand? Read it again."
            )
        else:
            yield (
                f"{reading_words(label)} does not fit what is likeliest here. Read it again before "
                f"believing either: three times, or once with min/max hold."
            )


def _slipped(value: float, expected: float) -> float | None:
    for factor in SLIP_FACTORS:
        near = abs(value * factor - expected)
        if abs(value) > 0 and near < max(0.1 * abs(expected), 0.03) and abs(value - expected) > 0.5:
            return value * factor
        if factor > 1 and abs(expected) > 1 and near < 0.15 * abs(expected):
            return value * factor
    return None


def _switching(posterior: Posterior) -> Iterator[str]:
    """A wire that probably switches, of which only the mean was read."""
    roles = best_roles(posterior)
    pins = posterior.problem.job.connector.pins
    for t, role in enumerate(roles):
        if ROLES[role] not in SWITCHING_ROLES:
            continue
        mean = [
            r
            for r in posterior.problem.rounds
            if r.plugged and pins[t] in r.volts and r.key == "run"
        ]
        counted = any(pins[t] in r.hertz for r in posterior.problem.rounds)
        timed = any(pins[t] in r.duty_percent for r in posterior.problem.rounds)
        if mean and not counted:
            yield (
                f"Terminal {pins[t]} looks like a switching signal: DC volts show only its mean "
                f"and prove neither pattern nor value. Take hertz{'' if timed else ' and duty'}."
            )


def _wiggled(posterior: Posterior) -> Iterator[str]:
    """A fault that is there only while wire and connector are moved."""
    draws, conditions = posterior.draws, posterior.problem.conditions
    may = np.array([c.comes_and_goes for c in conditions])[draws.condition]
    may &= ~np.isnan(posterior.bench.hypotheses.table.absent[draws.hypothesis])
    share = float(draws.weight[may].sum())
    names = [r.name for r in posterior.problem.rounds if r.action == "wiggle"]
    if share < MAY_COME:
        return
    where = f"Round {', '.join(names)}"
    if share < LIKELY_COMES:
        yield (
            f"{where}: the fault may be there only while wire and connector are wiggled. Read the "
            f"same with nothing moved, and wiggle again."
        )
        return
    yield (
        f"{where}: the fault comes and goes; the readings change as wire and connector are "
        f"wiggled. Wiggle again a hand's breadth at a time, from the sensor to the control unit: "
        f"what you hold when the reading jumps is the place."
    )


def _wheel(posterior: Posterior, misfit_probability: float) -> Iterator[str]:
    """Where the wheel that a sensor may watch turns, or stands, otherwise than the engine does."""
    may_watch = share_of(posterior, watches_a_wheel) >= MAY_WATCH
    # Such a sensor is ruled out where its wheel should stand and doesn't: then little else fits.
    may_turn = may_watch or misfit_probability < FITS_LITTLE
    for item in posterior.problem.rounds:
        counted = [v.value > 0.0 for v in item.hertz.values() if not v.over_range]
        made = [v.value > MADE_VOLT for v in item.volts_ac.values() if not v.over_range]
        if not item.plugged or item.action or not counted + made:
            continue
        turns = any(counted + made)
        if turns and may_turn and item.key in ("off", "on"):
            yield (
                f"Round {item.name}: a sensor that watches a wheel makes this only while the wheel "
                f"turns, and here the engine stands. If you turned it by hand, give this round "
                f'the action "sweep".'
            )
        if not turns and may_watch and item.key in ("crank", "run"):
            yield (
                f"Round {item.name}: nothing is made here, but a sensor at a road wheel is silent "
                f"as long as the vehicle stands. If it is one, turn its wheel by hand in a round "
                f'of its own, with the action "sweep".'
            )


def _silent_supply(posterior: Posterior) -> Iterator[str]:
    """A regulated supply that was never read while a thermistor wire stands in for it."""
    roles = [ROLES[r] for r in best_roles(posterior)]
    pins = posterior.problem.job.connector.pins
    if "signal-thermistor" not in roles or "supply-regulated" not in roles:
        return
    supply = pins[roles.index("supply-regulated")]
    if not any(supply in r.volts for r in posterior.problem.rounds):
        yield (
            f"The 5 V on the thermistor wire comes through its own pull-up and says nothing of the "
            f"supply at terminal {supply}: measure that itself."
        )


def _feed_relay(posterior: Posterior, trusted: Trust) -> Iterator[str]:
    """A battery feed that is dead with the key on, where its relay may only wait for the engine."""
    rounds = [r for r in posterior.problem.rounds if trusted.rounds[r.name] >= BAD_BELOW]
    pins = posterior.problem.job.connector.pins
    feed = role_probabilities(posterior)[:, ROLES.index("supply-battery")]
    for pin, share in zip(pins, feed, strict=True):
        if share < 0.5:
            continue
        read = [(r, r.volts[pin].value) for r in rounds if pin in r.volts]
        dead = [r.name for r, volt in read if r.key == "on" and abs(volt) < DEAD_VOLT]
        turning = [(r.name, volt) for r, volt in read if r.key in ("crank", "run")]
        live = [name for name, volt in turning if volt > LIVE_VOLT]
        if not dead or len(turning) > len(live):
            continue
        told = f"Terminal {pin}, battery feed, is dead with the key on (round {', '.join(dead)})"
        habit = "for two seconds after key-on, or while the engine turns"
        if live:
            yield (
                f"{told} and live while the engine turns (round {', '.join(live)}). Many relays "
                f"close only {habit}: no fault by itself."
            )
        else:
            yield (
                f"{told}. Before fuse and wire are blamed: some relays close only {habit}. Read "
                f"it in the very moment of key-on, cranking or running."
            )
