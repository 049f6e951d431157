"""What stands on top of an answer: what is doubtful about it, and one sentence of verdict."""

from __future__ import annotations

from rich.console import RenderableType
from rich.text import Text

from backprobe.cli.layout import alarm, hanging
from backprobe.services.answer import DOUBTFUL_BELOW, Answer
from backprobe.services.telling import (
    ONLY_AMONG_KNOWN,
    fits_nothing,
    fits_poorly,
    listed,
    remarks_beside,
    small_percent,
    verdict,
    what_follows,
)
from backprobe.services.words import percent, reading_words


def measurement(answer: Answer) -> list[RenderableType]:
    """Raise an alarm when the measurement is doubtful, else say so in a line."""
    found = answer.measurement
    if found.trusted >= DOUBTFUL_BELOW:
        line = f"Measurement: can be trusted ({percent(found.trusted)})."
        mark = "!" if fits_poorly(answer) else "-"
        return [Text(line), *(hanging(mark, remark) for remark in remarks_beside(answer))]
    doubtful = [
        f"round {name} {percent(share)}"
        for name, share in found.rounds.items()
        if share < DOUBTFUL_BELOW
    ]
    chance = ", ".join(doubtful) or percent(found.trusted)
    lines = [*remarks_beside(answer), f"Chance that black lead and vehicle were as noted: {chance}"]
    lines.append(what_follows(answer).removesuffix("."))
    return [alarm("THE MEASUREMENT IS DOUBTFUL", lines)]


def misfit_alarm(answer: Answer) -> list[RenderableType]:
    """Say that readings fit badly or not at all, and which are to blame; nothing if they fit."""
    misfit = answer.misfit
    if not fits_poorly(answer):
        return []
    blame = f"Look first at {listed(reading_words(each) for each in misfit.readings)}."
    chance = (
        "Chance of a surprise this large if the best explanation were true: "
        f"{small_percent(misfit.probability)}."
    )
    if not fits_nothing(answer):
        words = f"The fit is poor. {chance} {blame if misfit.readings else ''}"
        return [hanging("!", words.strip())]
    if len(misfit.readings) == 1:
        lines = [f"It is {reading_words(misfit.readings[0])}.", chance]
        lines.append("Take it again before it costs you an hour.")
        return [alarm("ONE READING FITS NOTHING", lines)]
    lines = [chance, blame] if misfit.readings else [chance]
    lines.append("Take them again; if they stand, the fault or circuit is one not modelled here.")
    lines.append(ONLY_AMONG_KNOWN)
    return [alarm("THESE READINGS FIT NOTHING KNOWN HERE", lines)]


def so_far(answer: Answer) -> RenderableType:
    """Say the verdict in one sentence, for somebody who reads only one."""
    return Text(verdict(answer), style="bold")
