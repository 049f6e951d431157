"""What stands on top of an answer: what is doubtful about it, and one sentence of verdict."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from rich.console import RenderableType
from rich.text import Text

from backprobe.cli.layout import alarm, hanging, listed
from backprobe.services.answer import Answer
from backprobe.services.words import fault_words, percent, reading_words, sure

DOUBTFUL_BELOW: Final = 0.90
FITS_NOTHING_BELOW: Final = 0.01
FITS_POORLY_BELOW: Final = 0.05


def measurement(answer: Answer) -> list[RenderableType]:
    """Raise an alarm when the measurement is doubtful, else say so in a line."""
    found = answer.measurement
    if found.trusted >= DOUBTFUL_BELOW:
        line = f"Measurement: can be trusted ({percent(found.trusted)})."
        mark = "!" if answer.misfit.probability < FITS_POORLY_BELOW else "-"
        return [Text(line), *(hanging(mark, remark) for remark in found.remarks)]
    doubtful = [
        f"round {name} {percent(share)}"
        for name, share in found.rounds.items()
        if share < DOUBTFUL_BELOW
    ]
    chance = ", ".join(doubtful) or percent(found.trusted)
    lines = [*found.remarks, f"Chance that black lead and vehicle were as noted: {chance}"]
    if sound_rounds(answer):
        lines.append(f"What follows rests on {_rounds(sound_rounds(answer))}")
    else:
        lines.append("Clear this up before you believe anything below")
    return [alarm("THE MEASUREMENT IS DOUBTFUL", lines)]


def sound_rounds(answer: Answer) -> list[str]:
    """Name the rounds whose black lead and state need not be doubted."""
    rounds = answer.measurement.rounds
    return [name for name, share in rounds.items() if share >= DOUBTFUL_BELOW]


def _rounds(names: Sequence[str]) -> str:
    return f"round {names[0]}" if len(names) == 1 else f"rounds {listed(names)}"


def misfit_alarm(answer: Answer) -> list[RenderableType]:
    """Say that readings fit badly or not at all, and which are to blame; nothing if they fit."""
    misfit = answer.misfit
    if misfit.probability >= FITS_POORLY_BELOW:
        return []
    blame = f"Look first at {listed(reading_words(each) for each in misfit.readings)}."
    chance = (
        "Chance of a surprise this large if the best explanation were true: "
        f"{_small_percent(misfit.probability)}."
    )
    if misfit.probability >= FITS_NOTHING_BELOW:
        words = f"The fit is poor. {chance} {blame if misfit.readings else ''}"
        return [hanging("!", words.strip())]
    if len(misfit.readings) == 1:
        lines = [f"It is {reading_words(misfit.readings[0])}.", chance]
        lines.append("Take it again before it costs you an hour.")
        return [alarm("ONE READING FITS NOTHING", lines)]
    lines = [chance, blame] if misfit.readings else [chance]
    lines.append("Take them again; if they stand, the fault or circuit is one not modelled here.")
    return [alarm("THESE READINGS FIT NOTHING KNOWN HERE", lines)]


def so_far(answer: Answer) -> RenderableType:
    """Say the verdict in one sentence, for somebody who reads only one."""
    if not answer.faults:
        return Text("So far: nothing can be said.", style="bold")
    top = max(answer.faults, key=lambda fault: fault.probability)
    words = fault_words(top.fault, top.terminals)
    lead = _verdict_lead(answer)
    if top.probability < 0.5:
        text = f"{lead}: not decided. First of several: {words} ({percent(top.probability)})."
    else:
        text = f"{lead}: {words} ({sure(top.probability)})."
    return Text(text, style="bold")


def _verdict_lead(answer: Answer) -> str:
    """Say under which reserve the verdict stands."""
    if answer.misfit.probability < FITS_NOTHING_BELOW:
        alone = len(answer.misfit.readings) == 1
        return "So far, that reading apart" if alone else "Nearest, but it does not fit"
    if answer.measurement.trusted >= DOUBTFUL_BELOW:
        return "So far"
    sound = sound_rounds(answer)
    return f"So far, by {_rounds(sound)}" if sound else "So far, if the measurement holds"


def _small_percent(share: float) -> str:
    """Write a small probability with two significant digits, down to one in a million."""
    return "below 0.0001 %" if share < 1e-6 else f"{float(f'{100 * share:.2g}'):.6g} %"
