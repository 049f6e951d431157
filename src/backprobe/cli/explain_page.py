"""An answer as words and tables: what is doubtful first, then readings, wires, faults, next steps.

Pieces of text only; what they say comes from the answer, how it is said from words.py. Every piece
takes the width it is given, from 40 columns up.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Final

from rich import box
from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.panel import Panel
from rich.table import Table
from rich.text import Text

from backprobe.cli.next_page import next_section
from backprobe.cli.sheet import sheet
from backprobe.cli.words import (
    fault_words,
    interval_words,
    measured,
    percent,
    reading_words,
    role_words,
    strength_words,
    sure,
)
from backprobe.job import Job
from backprobe.services.answer import (
    Answer,
    FaultAnswer,
    Reason,
    RuledOut,
    TerminalAnswer,
)
from backprobe.services.proof import minimum_proof
from backprobe.vocabulary import NO_FAULT

DOUBTFUL_BELOW: Final = 0.90
FITS_NOTHING_BELOW: Final = 0.01
FITS_POORLY_BELOW: Final = 0.05
WORTH_NAMING: Final = 0.02
PROOF_FROM: Final = 0.50
MOST_LISTED: Final = 8


def page(job: Job, answer: Answer, width: int) -> RenderableType:
    """Everything said about one job, in the order in which it is needed."""
    wanted = answer.next[0] if answer.next else None
    parts: list[RenderableType] = [_title(job, answer)]
    parts += [*_measurement(answer), *_misfit_alarm(answer), _so_far(answer)]
    parts += [_heading("Readings")]
    parts += [sheet(job, width, to_blame=answer.misfit.readings, wanted=wanted)]
    parts += [_heading("Wires"), _wires(job, answer)]
    parts += [_heading("Circuit"), _circuits(answer)]
    parts += [_heading("Faults"), *_faults(answer)]
    if answer.estimates:
        parts += [_heading("Values"), _estimates(answer)]
    parts += [_heading("Measure next"), next_section(answer, job)]
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


def _heading(words: str) -> RenderableType:
    return Group(Text(""), Text(words.upper(), style="bold underline"))


def _measurement(answer: Answer) -> list[RenderableType]:
    """Raise an alarm when the measurement is doubtful, else say so in a line."""
    measurement = answer.measurement
    if measurement.trusted >= DOUBTFUL_BELOW:
        parts: list[RenderableType] = [
            Text(f"Measurement: can be trusted ({percent(measurement.trusted)}).")
        ]
        return parts + [_hanging("-", remark) for remark in measurement.remarks]
    lines = [
        f"That black lead and vehicle were as noted: {percent(measurement.trusted)}.",
        *measurement.remarks,
    ]
    lines += [
        f"Round {name}: {percent(share)}"
        for name, share in measurement.rounds.items()
        if share < DOUBTFUL_BELOW
    ]
    lines.append("Clear this up before you believe anything below.")
    return [_alarm("THE MEASUREMENT IS DOUBTFUL", lines)]


def _misfit_alarm(answer: Answer) -> list[RenderableType]:
    misfit = answer.misfit
    if misfit.probability >= FITS_POORLY_BELOW:
        return []
    blame = f"Look first at {_listed(reading_words(each) for each in misfit.readings)}."
    chance = (
        "Readings this surprising under the best explanation: "
        f"{_small_percent(misfit.probability)}."
    )
    if misfit.probability >= FITS_NOTHING_BELOW:
        words = f"The fit is poor. {chance} {blame if misfit.readings else ''}"
        return [_hanging("!", words.strip())]
    lines = [chance, blame] if misfit.readings else [chance]
    lines.append("Take them again; if they stand, the fault or circuit is one not modelled here.")
    return [_alarm("THESE READINGS FIT NOTHING KNOWN HERE", lines)]


def _so_far(answer: Answer) -> RenderableType:
    """One sentence for somebody who reads only one."""
    if not answer.faults:
        return Text("So far: nothing can be said.", style="bold")
    top = max(answer.faults, key=lambda fault: fault.probability)
    words = fault_words(top.fault, top.terminals)
    lead = "So far"
    if answer.misfit.probability < FITS_NOTHING_BELOW:
        lead = "Nearest, but it does not fit"
    elif answer.measurement.trusted < DOUBTFUL_BELOW:
        lead = "So far, if the measurement holds"
    if top.probability < 0.5:
        text = f"{lead}: not decided. First of several: {words} ({percent(top.probability)})."
    else:
        text = f"{lead}: {words} ({sure(top.probability)})."
    return Text(text, style="bold")


def _wires(job: Job, answer: Answer) -> RenderableType:
    grid = _grid()
    answers = {terminal.pin: terminal for terminal in answer.terminals}
    for terminal in job.connector.terminals:
        said = answers.get(terminal.pin)
        if said is None:
            continue
        lines = [Text(f"{role_words(said.role)} ({sure(said.probability)})", style="bold")]
        reason = best_reason(answer, f"terminal {said.pin} is {said.role}")
        if reason is not None:
            lines.append(Text(_because(reason)))
        others = _other_roles(said)
        if others:
            lines.append(Text(f"or {others}"))
        if terminal.diagram and terminal.diagram != said.role:
            lines.append(Text(f"! The diagram says: {role_words(terminal.diagram)}.", style="bold"))
        grid.add_row(Text(f"{terminal.pin} {terminal.colour}".strip()), Group(*lines))
    return grid


def _other_roles(said: TerminalAnswer) -> str:
    others = [
        f"{role_words(role)} {percent(share)}"
        for role, share in sorted(said.roles.items(), key=lambda item: -item[1])
        if role != said.role and share >= WORTH_NAMING
    ]
    return _listed(others[:3], joint="or")


def best_reason(answer: Answer, claim: str) -> Reason | None:
    """Find the reading that carries a claim most, if any speaks for it."""
    candidates = [reason for reason in answer.reasons if reason.claim == claim]
    candidates += answer.evidence.get(claim, ())
    carrying = [reason for reason in candidates if reason.decibans >= 1.0]
    return max(carrying, key=lambda reason: reason.decibans, default=None)


def _because(reason: Reason) -> str:
    source = f"{reading_words(reason.reading)}, {strength_words(reason.decibans)}"
    return f"{_sentence(reason.text)} ({source})" if reason.text else f"({source})"


def _sentence(text: str) -> str:
    return text if not text or text[-1] in ".!?…" else f"{text}."


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
        lines.append(Text(f"or {_listed(others, joint='or')}"))
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
        parts += [Text("Ruled out", style="bold"), _ruled_out(answer.ruled_out)]
    return parts


def _remaining(answer: Answer, faults: Sequence[FaultAnswer]) -> RenderableType:
    grid = _grid(justify="right")
    for fault in faults:
        lines = [Text(_capital(fault_words(fault.fault, fault.terminals)))]
        reason = best_reason(answer, f"fault {fault.fault}")
        if reason is not None:
            lines.append(Text(_because(reason)))
        grid.add_row(Text(percent(fault.probability), style="bold"), Group(*lines))
    return grid


def _ruled_out(ruled_out: Sequence[RuledOut]) -> RenderableType:
    grid = _grid()
    for each in ruled_out[:MOST_LISTED]:
        by = f"by {reading_words(each.reading)}, {strength_words(each.decibans)}"
        why = f" {_sentence(each.text)}" if each.text else ""
        grid.add_row("x", Text(f"{_capital(fault_words(each.fault, each.terminals))}:{why} ({by})"))
    hidden = len(ruled_out) - MOST_LISTED
    if hidden > 0:
        grid.add_row("", Text(f"and {hidden} more"))
    return grid


def _estimates(answer: Answer) -> RenderableType:
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False)
    for name in ("value", "where", "best", "95 % between"):
        table.add_column(name, overflow="fold")
    for each in answer.estimates:
        interval = interval_words(each.low, each.high, each.unit)
        if not math.isclose(each.coverage, 0.95):
            interval += f" ({100 * each.coverage:.0f} %)"
        where = ", ".join(part for part in (each.terminal, each.round) if part)
        table.add_row(each.name, where, measured(each.value, each.unit), interval)
    return table


def _footer(answer: Answer) -> list[RenderableType]:
    parts: list[RenderableType] = [Text("")]
    size = answer.effective_sample_size
    counted = f"about {size:.0f} effective samples" if math.isfinite(size) else "few samples"
    if not answer.stable:
        words = (
            f"NOT STABLE: {counted} carry this answer, so its percentages may move by several "
            "points when asked again. Another reading helps more than another decimal."
        )
        parts.append(_hanging("!", words))
    elif math.isfinite(size):
        parts.append(Text(f"Weighed with {counted}.", style="dim"))
    return parts


def _alarm(title: str, lines: Sequence[str]) -> RenderableType:
    body = Group(*(Text(_sentence(line)) for line in lines))
    return Panel(body, title=f"!! {title} !!", box=box.HEAVY, style="bold", title_align="left")


def _grid(*, justify: str = "left") -> Table:
    grid = Table.grid(padding=(0, 1))
    grid.add_column(no_wrap=True, justify="right" if justify == "right" else "left", style="bold")
    grid.add_column(overflow="fold")
    return grid


def _hanging(mark: str, words: str) -> RenderableType:
    grid = _grid()
    grid.add_row(mark, Text(words))
    return Padding(grid, 0)


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def _listed(words: Iterable[str], joint: str = "and") -> str:
    items = list(words)
    if len(items) < 2:
        return "".join(items)
    return f"{', '.join(items[:-1])} {joint} {items[-1]}"


def _small_percent(share: float) -> str:
    """Write a small probability with two significant digits, down to one in a million."""
    return "below 0.0001 %" if share < 1e-6 else f"{float(f'{100 * share:.2g}'):.6g} %"
