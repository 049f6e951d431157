"""The full weight of evidence for what is asked with --why: every reading, for or against, summed.

Decibans add: ten of them multiply the odds by ten (Good, Probability and the Weighing of Evidence,
1950), so the running sum is what all readings up to that line say together.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Final

from rich import box
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from backprobe.errors import UsageError
from backprobe.services.answer import Answer, Reason
from backprobe.services.telling import capital
from backprobe.services.words import claim_words, reading_words, weight_words

MOST_CHOICES: Final = 14
SAYS_NOTHING_BELOW: Final = 1.0  # decibans: the least that a mind notices, by the same source


def why_page(answer: Answer, asked: str) -> RenderableType:
    """Show the evidence on one terminal (by its pin) or one fault (by its name).

    Raises
    ------
    UsageError
        Nothing is claimed about what was asked.
    """
    parts: list[RenderableType] = []
    for claim in claims_about(answer, asked):
        parts += [
            Text(""),
            Text(capital(claim_words(claim)), style="bold"),
            _table(answer.evidence[claim]),
        ]
    parts.append(Text("Ten decibans multiply the odds by ten, against the nearest rival."))
    return Group(*parts)


def claims_about(answer: Answer, asked: str) -> list[str]:
    """Find the claims that a pin or the name of a fault asks for."""
    wanted = " ".join(asked.split())
    pin = wanted.removeprefix("terminal ")
    claims = [claim for claim in answer.evidence if claim.startswith(f"terminal {pin} is ")]
    if not claims:
        fault = wanted.removeprefix("fault ")
        claims = [claim for claim in answer.evidence if claim == f"fault {fault}"]
    if claims:
        return claims
    raise UsageError(
        f'Nothing is claimed about "{asked}".',
        where=answer.file,
        remedy=f"Ask with --why for {_choices(answer)}.",
    )


def _choices(answer: Answer) -> str:
    """List the pins and the likeliest faults; a name outside of the list may be known as well."""
    pins = re.findall(r"^terminal (\S+) is ", "\n".join(answer.evidence), flags=re.MULTILINE)
    likely = sorted(answer.faults, key=lambda fault: -fault.probability)
    faults = [each.fault for each in likely if f"fault {each.fault}" in answer.evidence]
    choices = [*dict.fromkeys(pins), *dict.fromkeys(faults)][:MOST_CHOICES]
    if not choices:
        return "something in another file: this one has no evidence"
    return f"{', '.join(choices)} or another fault by its name"


def _says(reason: Reason) -> Text:
    """Name the reading and what it says; one that says nothing gets no sentence."""
    text = Text(reading_words(reason.reading), style="bold")
    text.append(f"  {weight_words(reason.decibans)}", style="not bold")
    if abs(reason.decibans) >= SAYS_NOTHING_BELOW and reason.text:
        text.append(f"\n{capital(reason.text)}", style="not bold")
    return text


def _table(reasons: Sequence[Reason]) -> RenderableType:
    if not reasons:
        return Text("No reading speaks for or against it.")
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False)
    table.add_column("decibans", justify="right", no_wrap=True)
    table.add_column("sum", justify="right", no_wrap=True)
    # One column for both, so that a narrow screen leaves room for the sentences.
    table.add_column("reading, and what it says", overflow="fold")
    total = 0.0
    for reason in sorted(reasons, key=lambda reason: -reason.decibans):
        total += reason.decibans
        table.add_row(f"{reason.decibans:+.1f}", f"{total:+.1f}", _says(reason))
    summary = f"Together {total:+.1f} decibans: {weight_words(total)}."
    return Group(table, Text(summary, style="bold"))
