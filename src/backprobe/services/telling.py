"""Sentences that every face tells alike: verdict, roles, reasons, doubts, next readings."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Final

from backprobe.job import Job, Round
from backprobe.services.answer import (
    DOUBTFUL_BELOW,
    Answer,
    Estimate,
    FaultAnswer,
    NextReading,
    Reason,
    RuledOut,
    TerminalAnswer,
)
from backprobe.services.words import (
    FIT_NOTHING,
    fault_words,
    gain_words,
    is_circuit_reading,
    minutes_words,
    percent,
    quantity_words,
    reading_pins,
    reading_round,
    reading_words,
    role_words,
    source_words,
    state_words,
    strength_words,
    sure,
    tells_only_circuit,
)

COUNTS_FROM: Final = 0.25  # trust from which a doubtful round still moves the answer
FITS_NOTHING_BELOW: Final = 0.01
FITS_POORLY_BELOW: Final = 0.05
WORTH_NAMING: Final = 0.02
DECIDED_FROM: Final = 0.60  # from here on a role is called likely
READ_DIRECTLY: Final = frozenset({"signal", "supply", "sensor ground offset"})
WIDEST_TOLD: Final = 20.0  # upper end over lower end of an interval that still says something
CARRIES_FROM: Final = 4.0  # decibans; a reading that says less ("weak") is no reason to show
FAULT_CLAIM: Final = "fault "
ALWAYS: Final = (
    "Never probe airbag circuits or the orange cables of an electric or hybrid vehicle. "
    "The maker's instructions come first; the program advises, you decide."
)
NOTHING_WORTH: Final = "No further reading is worth its minutes."
ONLY_AMONG_KNOWN: Final = (
    'Percentages, and "settled", compare only what is known here; none of that fits.'
)
SETTLED: Final = "Settled. Nothing more has to be measured to tell these apart."
SETTLED_FROM: Final = 0.99  # probability from which on a fault is called so
NO_MORE_TO_TELL: Final = "What remains can hardly be told apart by any reading that is left."


def capital(words: str) -> str:
    """Begin a sentence; names and units further on keep their letters."""
    return words[:1].upper() + words[1:]


def listed(words: Iterable[str], joint: str = "and") -> str:
    """List as people do: "A", "A and B", "A, B and C"."""
    items = list(words)
    if len(items) < 2:
        return "".join(items)
    return f"{', '.join(items[:-1])} {joint} {items[-1]}"


def sentence(text: str) -> str:
    """End a sentence that has no end yet."""
    return text if not text or text[-1] in ".!?…" else f"{text}."


def role_line(said: TerminalAnswer) -> str:
    """Say a wire's role; where none is likelier than not, say so and list them side by side.

    The role of the most probable assignment of all need not be the terminal's own likeliest one,
    and would look odd with a larger share behind it.
    """
    if said.probability >= DECIDED_FROM:
        return f"{role_words(said.role)} ({sure(said.probability)})"
    falling = sorted(said.roles.items(), key=lambda item: -item[1])
    told = [each for each in falling if each[1] >= WORTH_NAMING] or falling[:1]
    shares = [f"{role_words(role)} {percent(share)}" for role, share in told[:4]]
    if shares[1:]:
        shares[-1] = f"or {shares[-1]}"
    # Some roles hold a comma themselves: "signal, switching".
    return f"not decided: {'; '.join(shares)}"


def other_roles(said: TerminalAnswer) -> str:
    """List the other roles that a wire may have, likeliest first.

    None where its line (`role_line`) lists them already, as that of an undecided one does.
    """
    if said.probability < DECIDED_FROM:
        return ""
    others = [
        f"{role_words(role)} {percent(share)}"
        for role, share in sorted(said.roles.items(), key=lambda item: -item[1])
        if role != said.role and share >= WORTH_NAMING
    ]
    return listed(others[:3], joint="or")


def best_reason(answer: Answer, claim: str, pin: str = "") -> Reason | None:
    """Find the reading that carries a claim most; one at the terminal itself goes first.

    A reading taken on another wire may weigh more, but the one at the wire in question is what
    people look for. One of a round that is doubtful as a whole is given only where no other
    carries the claim. What is no reading of the circuit (the odds before any reading, the
    temperature around it) is never given as the reason, nor is one that says next to nothing.
    That the control unit reports a value at all is no reason for a fault.
    """
    candidates = [reason for reason in answer.reasons if reason.claim == claim]
    candidates += answer.evidence.get(claim, ())
    carrying = [
        each
        for each in candidates
        if each.decibans >= CARRIES_FROM
        and is_circuit_reading(each.reading)
        and not (claim.startswith(FAULT_CLAIM) and tells_only_circuit(each.reading))
    ]
    doubted = doubtful_rounds(answer)
    sound = [each for each in carrying if reading_round(each.reading) not in doubted]
    own = [each for each in sound or carrying if pin and pin in reading_pins(each.reading)]
    return max(own or sound or carrying, key=lambda reason: reason.decibans, default=None)


def because(answer: Answer, reason: Reason | RuledOut) -> str:
    """Say what a reading told, which reading it was and how strongly it weighs."""
    source = reading_source(answer, reason)
    return f"{sentence(reason.text)} ({source})" if reason.text else f"({source})"


def reading_source(answer: Answer, reason: Reason | RuledOut) -> str:
    """Say which reading it was and how strongly it weighs, and where its round is doubtful."""
    source = f"{reading_words(reason.reading)}, {strength_words(reason.decibans)}"
    taken = reading_round(reason.reading)
    doubt = f", if round {taken} can be trusted" if taken in doubtful_rounds(answer) else ""
    return source + doubt


def wire_because(answer: Answer, said: TerminalAnswer) -> str:
    """Say why a wire has its role; where its own readings don't tell, say which one does.

    Of an undecided wire, say for which of its roles this speaks.
    """
    reason = best_reason(answer, f"terminal {said.pin} is {said.role}", said.pin)
    if reason is None:
        return ""
    openings = []
    if said.probability < DECIDED_FROM:
        openings.append(f"for {role_words(said.role)}")
    if said.pin not in reading_pins(reason.reading):
        openings.append(f"by {source_words(reason.reading)}")
    told = because(answer, reason)
    return capital(f"{', '.join(openings)}: {told}") if openings else told


def faults_because(answer: Answer, faults: Sequence[FaultAnswer]) -> list[str]:
    """Say what carries each fault; nothing for one that has no other reason than those above it.

    What tells several faults from a further one alike is no reason for the lesser of them.
    """
    told: list[str] = []
    for fault in faults:
        reason = best_reason(answer, f"{FAULT_CLAIM}{fault.fault}")
        words = "" if reason is None else because(answer, reason)
        told.append("" if words in told else words)
    return told


def telling_estimates(job: Job, answer: Answer) -> list[Estimate]:
    """Leave out what only says a direct reading again, and what cannot be told; sort the rest.

    Nothing is told of rounds whose black lead or state is doubtful: they are to be read again.
    """
    rounds = {each.name: each for each in job.rounds}
    order = {pin: place for place, pin in enumerate(job.connector.pins)}
    doubted = doubtful_rounds(answer)
    kept = [
        each
        for each in answer.estimates
        if each.round not in doubted
        and not _repeats(each, rounds.get(each.round))
        and not _cannot_be_told(each)
    ]
    return sorted(kept, key=lambda each: (order.get(each.terminal, -1), each.name))


def _repeats(estimate: Estimate, where: Round | None) -> bool:
    if where is None:
        return False
    if estimate.name == "battery":
        indication = where.battery_volts
    elif estimate.name in READ_DIRECTLY:
        indication = where.volts.get(estimate.terminal)
    elif estimate.name == "frequency":
        indication = where.hertz.get(estimate.terminal)
    else:
        indication = None
    return indication is not None and estimate.low <= indication.value <= estimate.high


def _cannot_be_told(estimate: Estimate) -> bool:
    """Whether an interval of ohms or hertz spans so much that its middle would only mislead."""
    return 0.0 < estimate.low * WIDEST_TOLD < estimate.high


def doubtful_rounds(answer: Answer) -> set[str]:
    """Name the rounds whose black lead or state is doubtful."""
    rounds = answer.measurement.rounds
    return {name for name, share in rounds.items() if share < DOUBTFUL_BELOW}


def _sound_rounds(answer: Answer) -> list[str]:
    """Name the rounds whose black lead and state need not be doubted."""
    rounds = answer.measurement.rounds
    return [name for name, share in rounds.items() if share >= DOUBTFUL_BELOW]


def what_follows(answer: Answer) -> str:
    """What the rest of a doubtful answer rests on: sound rounds, others as far as trusted."""
    rounds, sound = answer.measurement.rounds, _sound_rounds(answer)
    partly = [name for name, share in rounds.items() if COUNTS_FROM <= share < DOUBTFUL_BELOW]
    if not sound:
        return "Clear this up before you believe anything below."
    also = f", and on {rounds_words(partly)} as far as it can be trusted" if partly else ""
    return f"What follows rests on {rounds_words(sound)}{also}."


def rounds_words(names: Sequence[str]) -> str:
    """Say "round A" or "rounds A and B"."""
    return f"round {names[0]}" if len(names) == 1 else f"rounds {listed(names)}"


def fits_poorly(answer: Answer, below: float = FITS_POORLY_BELOW) -> bool:
    """Whether readings fit poorly, those of rounds apart that are distrusted as a whole already."""
    if answer.misfit.probability >= below:
        return False
    doubted = doubtful_rounds(answer)
    blamed = answer.misfit.readings
    return not blamed or any(reading_round(each) not in doubted for each in blamed)


def fits_nothing(answer: Answer) -> bool:
    """Whether nothing known here fits, by readings that are not distrusted already."""
    return fits_poorly(answer, FITS_NOTHING_BELOW)


def remarks_beside(answer: Answer) -> tuple[str, ...]:
    """The remarks without that of nothing fitting, where this is told with its readings anyway."""
    remarks = answer.measurement.remarks
    return tuple(each for each in remarks if each != FIT_NOTHING or not fits_nothing(answer))


def _verdict_lead(answer: Answer) -> str:
    """Say under which reserve the verdict stands."""
    if fits_nothing(answer) and len(answer.misfit.readings) == 1:
        return "So far, that reading apart"
    if answer.measurement.trusted >= DOUBTFUL_BELOW:
        return "So far"
    sound = _sound_rounds(answer)
    return f"So far, by {rounds_words(sound)}" if sound else "So far, if the measurement holds"


def small_percent(share: float) -> str:
    """Write a small probability with two significant digits, down to one in a million."""
    return "below 0.0001 %" if share < 1e-6 else f"{float(f'{100 * share:.2g}'):.6g} %"


def headline(reading: NextReading, job: Job) -> str:
    """Say what to measure where and in which state."""
    state = state_words(
        plugged=reading.plugged, key=reading.key, rpm=reading.rpm, action=reading.action
    )
    what = quantity_words(reading.quantity)
    place = reading.terminal
    if reading.quantity == "scan":
        return f"{state}: {what} {place}"
    if not place:
        return f"{state}: {what}"
    if "-" in place:
        return f"{state}: {what}, {place.replace('-', ' to ')}"
    colours = {terminal.pin: terminal.colour for terminal in job.connector.terminals}
    colour = colours.get(place, "")
    return f"{state}: {what} at terminal {place}{f' ({colour})' if colour else ''}"


def price(reading: NextReading) -> str:
    """Say what a reading costs and what it is expected to tell."""
    time = minutes_words(reading.minutes)
    return f"{time}; {gain_words(reading.bits)} ({reading.bits:.2f} bit)"


def settled_words(answer: Answer) -> str:
    """Say why nothing more is to be measured: settled, or no reading tells the rest apart."""
    sure_of = max((fault.probability for fault in answer.faults), default=0.0)
    return SETTLED if sure_of >= SETTLED_FROM else NO_MORE_TO_TELL


def must_read_again(answer: Answer) -> bool:
    """Whether there are readings that do not fit and can be named."""
    return fits_poorly(answer) and bool(answer.misfit.readings)


def verdict(answer: Answer) -> str:
    """Say the verdict in one sentence, for somebody who reads only one."""
    if not answer.faults:
        return "So far: nothing can be said."
    top = max(answer.faults, key=lambda fault: fault.probability)
    words = fault_words(top.fault, top.terminals)
    if fits_nothing(answer) and len(answer.misfit.readings) != 1:
        # A share of what is known is no chance of being true where nothing known fits.
        share = f"{percent(top.probability)} of what is known here"
        return f"Nothing known here fits these readings. Nearest: {words} ({share})."
    lead = _verdict_lead(answer)
    if top.probability < 0.5:
        return f"{lead}: not decided. First of several: {words} ({percent(top.probability)})."
    return f"{lead}: {words} ({sure(top.probability)})."
