"""An answer as words and tables: what is doubtful first, then readings, wires, faults, next steps.

Pieces of text only; what they say comes from the answer, how it is said from words.py. Every piece
takes the width it is given, from 40 columns up.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from rich import box
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from backprobe.cli.layout import hanging, heading, two_columns
from backprobe.cli.next_page import next_section
from backprobe.cli.sheet import sheet
from backprobe.cli.verdict_page import measurement, misfit_alarm, so_far
from backprobe.job import Job
from backprobe.services.answer import (
    Answer,
    Estimate,
    FaultAnswer,
)
from backprobe.services.proof import minimum_proof
from backprobe.services.telling import (
    WORTH_NAMING,
    capital,
    faults_because,
    listed,
    other_roles,
    reading_source,
    role_line,
    sentence,
    telling_estimates,
    wire_because,
)
from backprobe.services.words import (
    counted,
    fault_words,
    interval_words,
    measured,
    percent,
    role_words,
    sure,
)
from backprobe.vocabulary import NO_FAULT

PROOF_FROM: Final = 0.50
MOST_LISTED: Final = 6


def page(job: Job, answer: Answer, width: int) -> RenderableType:
    """Everything said about one job, in the order in which it is needed."""
    wanted = answer.next[0] if answer.next else None
    parts: list[RenderableType] = [_title(job, answer)]
    parts += [*measurement(answer), *misfit_alarm(answer), so_far(answer)]
    parts += [heading("Readings")]
    parts += [sheet(job, width, to_blame=answer.misfit.readings, wanted=wanted)]
    parts += [heading("Wires"), _wires(job, answer)]
    parts += [heading("Circuit"), _circuits(answer)]
    parts += [heading("Faults"), *_faults(answer)]
    telling = telling_estimates(job, answer)
    if telling:
        parts += [heading("Values"), _estimates(telling)]
    parts += [heading("Measure next"), next_section(answer, job)]
    parts += _footer(answer)
    return Group(*parts)


def _title(job: Job, answer: Answer) -> RenderableType:
    about = [job.connector.name, terminals_count(len(job.connector.terminals))]
    if job.vehicle.description:
        about.append(job.vehicle.description)
    if job.codes:
        about.append("codes " + ", ".join(code.code for code in job.codes))
    lines = [Text(job.title, style="bold"), Text(f"{answer.file}: {'; '.join(about)}")]
    if job.complaint:
        lines.append(Text(f"Complaint: {job.complaint}"))
    return Group(*lines)


def terminals_count(number: int) -> str:
    """Say how many terminals a connector has."""
    return "1 terminal" if number == 1 else f"{number} terminals"


def _wires(job: Job, answer: Answer) -> RenderableType:
    grid = two_columns()
    answers = {terminal.pin: terminal for terminal in answer.terminals}
    for terminal in job.connector.terminals:
        said = answers.get(terminal.pin)
        if said is None:
            continue
        lines = [Text(role_line(said), style="bold")]
        why = wire_because(answer, said)
        if why:
            lines.append(Text(why))
        others = other_roles(said)
        if others:
            lines.append(Text(f"or {others}"))
        if terminal.diagram and terminal.diagram != said.role:
            lines.append(Text(f"! The diagram says: {role_words(terminal.diagram)}.", style="bold"))
        grid.add_row(Text(f"{terminal.pin} {terminal.colour}".strip()), Group(*lines))
    return grid


def _circuits(answer: Answer) -> RenderableType:
    falling = sorted(answer.circuits, key=lambda circuit: -circuit.probability)
    if not falling:
        return Text("No circuit fits.")
    lines = [Text(f"{falling[0].circuit} ({sure(falling[0].probability)})")]
    others = [
        f"{circuit.circuit} {percent(circuit.probability)}"
        for circuit in falling[1:5]
        if circuit.probability >= WORTH_NAMING
    ]
    if others:
        lines.append(Text(f"or {listed(others, joint='or')}"))
    return Group(*lines)


def _faults(answer: Answer) -> list[RenderableType]:
    falling = sorted(answer.faults, key=lambda fault: -fault.probability)
    remaining = [fault for fault in falling if fault.probability >= WORTH_NAMING] or falling[:1]
    parts: list[RenderableType] = [_remaining(answer, remaining[:MOST_LISTED])]
    hidden = len(remaining) - MOST_LISTED
    if hidden > 0:
        parts.append(Text(f"and {hidden} more, each at most {percent(remaining[-1].probability)}"))
    if remaining and remaining[0].probability >= PROOF_FROM:
        proof = minimum_proof(remaining[0].fault)
        if proof:
            before = "Remember:" if remaining[0].fault == NO_FAULT else "Proof before repair:"
            parts.append(Text(f"{before} {proof}"))
    if answer.ruled_out:
        parts += [Text("Ruled out", style="bold"), _ruled_out(answer)]
    return parts


def _remaining(answer: Answer, faults: Sequence[FaultAnswer]) -> RenderableType:
    grid = two_columns(numbers_first=True)
    for fault, why in zip(faults, faults_because(answer, faults), strict=True):
        lines = [Text(capital(fault_words(fault.fault, fault.terminals)))]
        if why:
            lines.append(Text(why))
        grid.add_row(Text(percent(fault.probability), style="bold"), Group(*lines))
    return grid


def _ruled_out(answer: Answer) -> RenderableType:
    grid = two_columns()
    for each in answer.ruled_out[:MOST_LISTED]:
        by = f"by {reading_source(answer, each)}"
        why = f" {sentence(each.text)}" if each.text else ""
        grid.add_row("x", Text(f"{capital(fault_words(each.fault, each.terminals))}:{why} ({by})"))
    hidden = len(answer.ruled_out) - MOST_LISTED
    if hidden > 0:
        grid.add_row("", Text(f"and {hidden} more"))
    return grid


def _estimates(estimates: Sequence[Estimate]) -> RenderableType:
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False)
    for name in ("value", "where", "best", "95 % between"):
        table.add_column(name, overflow="fold")
    for each in estimates:
        interval = interval_words(each.low, each.high, each.unit)
        if not math.isclose(each.coverage, 0.95):
            interval += f" ({100 * each.coverage:.0f} %)"
        where = ", ".join(part for part in (each.terminal, each.round) if part)
        table.add_row(each.name, where, measured(each.value, each.unit), interval)
    return table


def _footer(answer: Answer) -> list[RenderableType]:
    parts: list[RenderableType] = [Text("")]
    size = answer.effective_sample_size
    is_counted = math.isfinite(size)
    samples = f"about {counted(round(size), 'effective sample')}" if is_counted else "few samples"
    if not answer.stable:
        words = (
            f"NOT STABLE: {samples} carry this answer, so its percentages may move by several "
            "points when asked again. Another reading helps more than another decimal."
        )
        parts.append(hanging("!", words))
    elif math.isfinite(size):
        parts.append(Text(f"Weighed with {samples}."))
    return parts
