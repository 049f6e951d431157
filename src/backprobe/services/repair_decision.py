"""Act on the leading fault now, or take the next reading first: which costs less to be expected.

Let p be the leading fault's probability, r what its repair costs (minutes and part) and w the price
of being wrong (a return visit). The right repair has to be paid for in any case; what a decision
can lose is the wrong repair and the return visit. The expected opportunity loss of acting now is

    L = (1 - p) (r + w),                                                          (1)

which is also the most that any further reading can be worth (the expected value of perfect
information, [raiffa1961, ch. 4]). A reading that is expected to settle the share s of what is open
is worth about s L (its expected value of information: 0 where it settles nothing, L where it
settles all; the straight line between the two is our own approximation). Reading first costs

    c + (1 - s) L,                                                                (2)

c being its minutes of work, so it is the cheaper way where c < s L. The share s is the reading's
expected information over the entropy of what is open: the fault, the measurement, and the least
certain wire (the roles of wires hang together, so that one stands for all of them).

The price never overrules the proof: a measurement that is not trusted, readings that fit nothing,
and a control unit that is blamed are looked into first, whatever that costs.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from math import log2
from typing import Final, Literal

from backprobe.services.answer import Answer, NextReading
from backprobe.services.costs import DEFAULT_COSTS, MATERIAL, RETURN_VISIT, Costs
from backprobe.services.planning import FITS, TRUSTED
from backprobe.services.proof import minimum_proof
from backprobe.services.words import fault_words, minutes_words, percent, sure
from backprobe.vocabulary import split_fault

Choice = Literal["act", "read"]

# Which work a kind of fault asks for, and what has to be bought for it.
_WORK: Final[dict[str, str]] = {
    "open": "wire",
    "resistance": "wire",
    "short-to-ground": "short",
    "short-to-supply": "short",
    "short-to-battery": "short",
    "supply-low": "shared rail",
    "ground-lifted": "shared rail",
    "control-unit-input": "control unit",
    "sensor-open": "part",
    "sensor-shorted": "part",
    "sensor-stuck": "part",
    "sensor-drift": "part",
    "swapped": "exchanged wires",
}
_WORK_WORDS: Final[dict[str, str]] = {
    "wire": "work on the wire",
    "short": "finding and mending the short",
    "shared rail": "work on the shared supply or ground",
    "exchanged wires": "putting the wires right",
    "part": "another part",
    "control unit": "another control unit",
}


@dataclass(frozen=True, slots=True)
class RepairDecision:
    """Which way is cheaper, in numbers and words.

    Attributes
    ----------
    fault, terminals, probability
        The leading fault.
    work : str
        What mends it, in words.
    repair_minutes, repair_price : float
        Minutes of that work; price of work and part together.
    act_price : float
        Expected loss of acting now, equation (1).
    reading : NextReading or None
        The reading that would come first; None where none is left.
    settles : float
        Share of what is open that it is expected to settle.
    reading_price, read_price : float
        Price of its minutes; expected loss of reading first, equation (2).
    choice : str
        "act" or "read".
    words, proof : str
        The weighing in sentences; what has to be seen before the fault is acted on.
    """

    fault: str
    terminals: tuple[str, ...]
    probability: float
    work: str
    repair_minutes: float
    repair_price: float
    act_price: float
    reading: NextReading | None
    settles: float
    reading_price: float
    read_price: float
    choice: Choice
    words: str
    proof: str


def repair_decision(
    answer: Answer, costs: Costs = DEFAULT_COSTS, kind: str = "unknown"
) -> RepairDecision | None:
    """Weigh acting on the leading fault against the next reading.

    Parameters
    ----------
    answer : Answer
        What is known.
    costs : Costs
        Prices and minutes of this workshop.
    kind : str
        Kind of the connector, for the price of its part.

    Returns
    -------
    RepairDecision or None
        None where no repair is open: nothing is known, or a sound circuit leads.
    """
    if not answer.faults or split_fault(answer.faults[0].fault)[0] not in _WORK:
        return None
    leading = answer.faults[0]
    work = _WORK[split_fault(leading.fault)[0]]
    minutes, price = _repair(work, costs, kind)
    act = (1.0 - leading.probability) * (price + costs.of(RETURN_VISIT))  # eq. (1)
    reading = answer.next[0] if answer.next else None
    settles = _settled_share(answer, reading.bits) if reading else 0.0
    reading_price = costs.work(reading.minutes) if reading else 0.0
    read = reading_price + (1.0 - settles) * act  # eq. (2)
    first = _proof_first(answer, work)
    cheaper: Choice = "read" if reading is not None and read < act else "act"
    found = RepairDecision(
        fault=leading.fault,
        terminals=leading.terminals,
        probability=leading.probability,
        work=_WORK_WORDS[work],
        repair_minutes=minutes,
        repair_price=price,
        act_price=act,
        reading=reading,
        settles=settles,
        reading_price=reading_price,
        read_price=read,
        choice="read" if first else cheaper,
        words="",
        proof=minimum_proof(leading.fault),
    )
    return replace(found, words=_words(found, costs, first))


def _repair(work: str, costs: Costs, kind: str) -> tuple[float, float]:
    """Minutes, and price of work and part together."""
    minutes = costs.of(f"repair {work}")
    bought = {
        "part": costs.part(kind),
        "control unit": costs.part("control unit"),
        "exchanged wires": 0.0,
    }.get(work, costs.of(MATERIAL))
    return minutes, costs.work(minutes) + bought


def _settled_share(answer: Answer, bits: float) -> float:
    """Share of what is open that a reading with so many bits is expected to settle."""
    open_bits = _entropy(each.probability for each in answer.faults)
    open_bits += _entropy((answer.measurement.trusted, 1.0 - answer.measurement.trusted))
    open_bits += max((_entropy(t.roles.values()) for t in answer.terminals), default=0.0)
    return 0.0 if bits <= 0.0 else min(1.0, bits / open_bits) if open_bits > 0.0 else 1.0


def _entropy(shares: Iterable[float]) -> float:
    """Entropy in bits [cover2006, eq. (2.1)]."""
    return -sum(p * log2(p) for p in shares if p > 0.0)


def _proof_first(answer: Answer, work: str) -> str:
    """Why the proof comes first whatever it costs; empty where the price may decide."""
    if answer.misfit.probability < FITS:
        return "The readings fit nothing that is modelled here: no price counts before they do."
    if answer.measurement.trusted < TRUSTED:
        return "The measurement itself is in doubt: no price counts before it is put right."
    if work == "control unit":
        return "The control unit is named last: no price counts before its proof."
    return ""


def _words(found: RepairDecision, costs: Costs, first: str) -> str:
    """The weighing in sentences, the proof before everything where it has to come first."""
    wrong, visit = percent(1.0 - found.probability), costs.money(costs.of(RETURN_VISIT))
    leading = fault_words(found.fault, found.terminals)
    mending = f"{minutes_words(found.repair_minutes)}, {costs.money(found.repair_price)} in all"
    lost = f"then that and a return visit ({visit}) are lost: {costs.money(found.act_price)}"
    sentences = (
        first,
        f"Leading ({sure(found.probability)}): {leading}.",
        f"To mend it: {found.work}, {mending}.",
        f"Acting now is wrong with a chance of {wrong}; {lost} to be expected.",
        _reading_words(found, costs),
        "" if first else _conclusion(found, costs),
    )
    return " ".join(each for each in sentences if each)


def _reading_words(found: RepairDecision, costs: Costs) -> str:
    if found.reading is None:
        return "No reading is left that would tell more."
    settled = "all" if found.settles > 0.995 else f"about {100 * found.settles:.0f} %"
    return (
        f"The next reading costs {minutes_words(found.reading.minutes)} "
        f"({costs.money(found.reading_price)}) and is expected to settle {settled} of what is "
        f"open: {costs.money(found.read_price)} to be expected that way."
    )


def _conclusion(found: RepairDecision, costs: Costs) -> str:
    if found.choice == "read":
        saved = costs.money(found.act_price - found.read_price)
        return f"Read first: it's cheaper by about {saved}."
    if found.reading is None:
        return "Act once its proof is seen."
    return "Acting now is the cheaper way, once its proof is seen."
