"""Why: the weight of evidence of each reading for each claim against its nearest rival.

Which rival a claim is held against, and which of its readings are told (`weighing` weighs them).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from backprobe.services.answer import Reason, RuledOut
from backprobe.services.planning_words import fault_phrase
from backprobe.services.weighing import (
    ANY,
    BEFORE,
    SMALLEST_SHOWN,
    TELLS_FAIRLY,
    Explanation,
    Weigher,
)
from backprobe.services.words import role_and_fault_words
from backprobe.vocabulary import NO_FAULT, ROLES, split_fault

Array = NDArray[np.float64]

NEARLY_SURE = 0.95  # probability of a role from which on no rival of it is near
MOST_SHOWN = 3  # reasons a claim in the answer itself
RULED_OUT_BELOW = 0.01
TELLS_ALMOST = 1.0 / 3.0  # of the strongest weight, from which a plainer reading is told instead


def role_claim(pin: str, role: int) -> str:
    """The claim that a terminal has a role."""
    return f"terminal {pin} is {ROLES[role]}"


def evidence_tables(weigher: Weigher, roles: tuple[int, ...]) -> dict[str, tuple[Reason, ...]]:
    """Full tables: every terminal's role, and every fault that was fitted."""
    tables: dict[str, tuple[Reason, ...]] = {}
    claim = weigher.best_with_roles(roles)
    for t, pin in enumerate(weigher.pins):
        others = [e for e in weigher.all if e.roles[t] != claim.roles[t]]
        rival = weigher.told_apart(claim, others)
        if rival is not None:
            text = role_claim(pin, claim.roles[t])
            tables[text] = weigher.table(text, claim, rival, _role_rival(rival, t))
    for fault in sorted({e.fault for e in weigher.all}):
        own = weigher.best_with_fault(fault)
        if own is None:
            continue
        others = [e for e in weigher.all if _differs(e, own)]
        rival = weigher.told_apart(own, others, by_circuit=False)
        if rival is not None:
            tables[f"fault {fault}"] = weigher.table(
                f"fault {fault}", own, rival, _fault_rival(own, rival)
            )
    return tables


def _fault_rival(own: Explanation, rival: Explanation) -> str:
    """The rival fault, and what else it needs: another kind of circuit, or other wires."""
    if rival.circuit != own.circuit:
        return f'{fault_text(rival.fault)} (in "{rival.circuit}")'
    if rival.roles != own.roles:
        return f"{fault_text(rival.fault)} (with the wires taken otherwise)"
    return fault_text(rival.fault)


def own_reasons(weigher: Weigher, roles: tuple[int, ...], share: Array) -> tuple[Reason, ...]:
    """What the own reading of a wire that is as good as known says, where its nearest rival agrees.

    Such a rival is far off, and what tells it apart was read elsewhere; people look for the wire's
    own reading. It is weighed against the nearest rival that it does tell apart, which is named.
    ``share`` is the probability of each terminal's role, (n_terminal,).
    """
    claim, found = weigher.best_with_roles(roles), []
    for t, pin in enumerate(weigher.pins):
        others = [e for e in weigher.all if e.roles[t] != claim.roles[t]]
        told = weigher.told_apart_at(pin, claim, others) if share[t] >= NEARLY_SURE else None
        if told is None or told[0] == weigher.told_apart(claim, others):
            continue
        rival, i = told
        weight = float(weigher.decibans(claim, rival)[0][i])
        words = weigher.sentence(i, claim, rival, _role_rival(rival, t), weight)
        found.append(Reason(role_claim(pin, claim.roles[t]), weigher.sheet.label[i], weight, words))
    return tuple(found)


def _differs(one: Explanation, other: Explanation) -> bool:
    """Whether two explanations name another kind of fault, or another place for it.

    The same break on the same terminal, of a wire that is only called otherwise, is no other fault.
    """
    kinds = split_fault(one.fault)[0], split_fault(other.fault)[0]
    return kinds[0] != kinds[1] or one.places != other.places


def _role_rival(rival: Explanation, terminal: int) -> str:
    """The rival role, and its fault where that is what lets it stand."""
    return role_and_fault_words(ROLES[rival.roles[terminal]], rival.fault)


def fault_text(fault: str) -> str:
    """A fault's name as part of a sentence."""
    return "a sound circuit" if fault == NO_FAULT else fault_phrase(fault)


def main_reasons(
    tables: dict[str, tuple[Reason, ...]], roles: tuple[int, ...], pins: tuple[str, ...], fault: str
) -> tuple[Reason, ...]:
    """The strongest reasons of the answer's own claims."""
    claims = [role_claim(pin, role) for pin, role in zip(pins, roles, strict=True)]
    claims.append(f"fault {fault}")
    found: list[Reason] = []
    for claim in claims:
        rows = [r for r in tables.get(claim, ()) if r.reading != BEFORE]
        found += [r for r in rows if r.decibans >= SMALLEST_SHOWN][:MOST_SHOWN]
    return tuple(found)


def ruled_out(weigher: Weigher, shares: dict[str, float]) -> tuple[RuledOut, ...]:
    """Faults of the best circuit that no longer stand, each with the reading that says so most.

    A fault is judged by its own best explanation: where no reading speaks against that, it was
    unlikely from the start, and no reading rules it out.
    """
    found: list[RuledOut] = []
    seen = {weigher.best.fault}
    for e in sorted(weigher.all, key=lambda e: -e.score):
        if e.family != weigher.best.family or e.roles != weigher.best.roles or e.fault in seen:
            continue
        seen.add(e.fault)
        weights, _ = weigher.decibans(weigher.best, e)
        stands = shares.get(e.fault, 0.0) >= RULED_OUT_BELOW
        if stands or weights.size == 0 or float(weights.max()) < TELLS_FAIRLY:
            continue
        i = _plainest(weigher, e, weights)
        found.append(
            RuledOut(
                fault=e.fault,
                terminals=tuple(weigher.pins[t] for t in e.places),
                reading=weigher.sheet.label[i],
                decibans=float(weights[i]),
                text=_against(weigher, i, e),
            )
        )
    return tuple(sorted(found, key=lambda r: -r.decibans))


def _plainest(weigher: Weigher, e: Explanation, weights: Array) -> int:
    """The strongest reading against an explanation; one that it does not expect goes first.

    Those of a round that is doubtful as a whole go last.
    """
    believed = np.where(weigher.believed, weights, -np.inf)
    weights = believed if float(believed.max()) >= TELLS_FAIRLY else weights
    enough = max(TELLS_FAIRLY, TELLS_ALMOST * float(weights.max()))
    falling = [int(i) for i in np.argsort(-weights) if weights[i] >= enough]
    return next((i for i in falling if not weigher.expects(i, e)), falling[0])


def _against(weigher: Weigher, i: int, e: Explanation) -> str:
    """What a reading says against an explanation."""
    read, given = weigher.shown(i, None), weigher.shown(i, e)
    if given in (read, ANY) or weigher.expects(i, e):
        return f"{read} was read; it may give that, but as well much else"
    return f"it would give {given}; {read} was read"
