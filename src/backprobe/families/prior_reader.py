"""Reads priors and driven quantities out of a family file's tables."""

from __future__ import annotations

from collections.abc import Mapping

from backprobe.families.mistakes import MistakeList, Path, nearest, unknown_keys
from backprobe.families.schema import (
    CHOICE_MOVES,
    PRIOR_KINDS,
    STATES,
    UNITS,
    Driven,
    Prior,
    PriorKind,
    Unit,
)

Table = Mapping[str, object]

_HUGE = 1e300
_PAIRS = {
    "normal": "[mean, standard deviation]",
    "uniform": "[lower limit, upper limit]",
    "log_uniform": "[lower limit, upper limit]",
    "log_normal": "[median, factor of one standard deviation]",
}


def is_number(value: object) -> bool:
    """Tell whether it is a finite number (and not true or false)."""
    # A comparison, as math.isfinite fails on whole numbers too large for a float.
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < _HUGE


def fixed(value: float) -> Prior:
    """Return the prior of a value that is known."""
    return Prior("fixed", float(value))


def read_prior(table: Table, path: Path, mistakes: MistakeList) -> Prior | None:
    """Read a prior table such as ``{ uniform = [1.0, 2.0], source = "..." }``."""
    before = len(mistakes.found)
    given: list[PriorKind] = [key for key in PRIOR_KINDS if key in table]
    known = (*PRIOR_KINDS, "source") + (("weights",) if "choice" in table else ())
    unknown_keys(table, path, known, "a prior", mistakes)
    if len(given) != 1:
        said = f"{len(given)} distributions" if given else "no distribution"
        mistakes.add(path, f"This prior has {said}.", f"Give one of {', '.join(PRIOR_KINDS)}.")
        return None
    source = table.get("source")
    if not isinstance(source, str) or not source.strip():
        mistakes.add(
            path,
            "This prior has no source.",
            'Add source = "...": a published text, or "common practice" where there is none.',
        )
    kind = given[0]
    prior = (
        _read_choice(table, path, mistakes)
        if kind == "choice"
        else _read_pair(kind, table[kind], str(source), (*path, kind), mistakes)
    )
    return prior if len(mistakes.found) == before else None


def _read_pair(
    kind: PriorKind, pair: object, source: str, path: Path, mistakes: MistakeList
) -> Prior | None:
    if not isinstance(pair, list) or len(pair) != 2 or not all(is_number(one) for one in pair):
        mistakes.add(path, f"{kind} needs two numbers.", f"Write {kind} = {_PAIRS[kind]}.")
        return None
    a, b = float(pair[0]), float(pair[1])
    remedy = f"Write {kind} = {_PAIRS[kind]}."
    complaint = ""
    if kind in {"uniform", "log_uniform"} and a == b:
        complaint, remedy = f"Both limits of {kind} are {a:g}.", f"Write the number {a:g} instead."
    elif kind in {"uniform", "log_uniform"} and a > b:
        complaint, remedy = f"The limits {a:g} and {b:g} are reversed.", f"Write [{b:g}, {a:g}]."
    elif kind.startswith("log_") and a <= 0:
        complaint, remedy = f"{kind} can't hold {a:g}.", "Use numbers above zero."
    elif kind == "normal" and b <= 0:
        complaint = f"A standard deviation of {b:g} is impossible."
    elif kind == "log_normal" and b <= 1:
        complaint, remedy = f"A factor of {b:g} is impossible.", "The factor must be above 1."
    if complaint:
        mistakes.add(path, complaint, remedy)
        return None
    return Prior(kind, a, b, source=source)


def _read_choice(table: Table, path: Path, mistakes: MistakeList) -> Prior | None:
    choices = table["choice"]
    where = (*path, "choice")
    if not isinstance(choices, list) or len(choices) < 2:
        mistakes.add(where, "A choice needs two values or more.", 'Write choice = ["a", "b"].')
        return None
    words = all(isinstance(one, str) for one in choices)
    if not words and not all(is_number(one) for one in choices):
        mistakes.add(where, "A choice mixes numbers and words.", "Use numbers only, or words only.")
        return None
    if len(set(choices)) != len(choices):
        mistakes.add(where, "A choice has the same value twice.", "Name each value once.")
        return None
    weights = table.get("weights", [1.0] * len(choices))
    if not isinstance(weights, list) or len(weights) != len(choices):
        count = len(weights) if isinstance(weights, list) else "no list of"
        mistakes.add(
            (*path, "weights"),
            f"{len(choices)} choices but {count} weights.",
            "Give one weight a choice, in the same order.",
        )
        return None
    if not all(is_number(one) and one > 0 for one in weights):
        mistakes.add((*path, "weights"), "A weight isn't above zero.", "Leave that choice out.")
        return None
    total = float(sum(weights))
    return Prior(
        "choice",
        choices=tuple(str(one) if words else float(one) for one in choices),
        weights=tuple(float(one) / total for one in weights),
        source=str(table.get("source", "")),
    )


def read_driven(name: str, table: Table, path: Path, mistakes: MistakeList) -> Driven | None:
    """Read a ``[driven.NAME]`` table."""
    before = len(mistakes.found)
    has_always = "always" in table
    _require_driven_keys(name, table, path, mistakes)
    number_key = "drift" if has_always else "repeat"
    moved = table.get(number_key, 0.0)
    if not is_number(moved) or float(str(moved)) < 0:
        said = f"{number_key} must be a number, zero or above."
        mistakes.add((*path, number_key), said, "It is one standard deviation, in the unit.")
    keys = ("always",) if has_always else STATES
    if not has_always and "key-on" not in table:
        remedy = "Give always = { ... }, or key-on = { ... } and further states."
        mistakes.add(path, f'The driven quantity "{name}" has no key-on state.', remedy)
    read = {key: _state_prior(table[key], (*path, key), mistakes) for key in keys if key in table}
    priors = {key: prior for key, prior in read.items() if prior is not None}
    moves = _moves(name, table, path, priors, mistakes)
    limits = _limits(table, path, mistakes)
    unit = _unit(name, table, path, mistakes)
    if unit is None or len(mistakes.found) != before:
        return None
    number = float(str(moved))
    if has_always:
        return Driven(unit, always=priors["always"], drift=number, moves=moves, limits=limits)
    return Driven(unit, states=priors, repeat=number, moves=moves, limits=limits)


def _limits(table: Table, path: Path, mistakes: MistakeList) -> Prior | None:
    """Read what no sound vehicle goes beyond, in whatever state."""
    if "limits" not in table:
        return None
    where = (*path, "limits")
    given = table["limits"]
    if not isinstance(given, dict) or "uniform" not in given:
        remedy = 'Write limits = { uniform = [lowest, highest], source = "..." }.'
        mistakes.add(where, "limits must be a uniform prior.", remedy)
        return None
    return read_prior(given, where, mistakes)


def _moves(
    name: str, table: Table, path: Path, priors: Mapping[str, Prior], mistakes: MistakeList
) -> float:
    """Read the chance that a choice is another one in the next round of the same state."""
    if "moves" not in table:
        return CHOICE_MOVES
    given = table["moves"]
    if not is_number(given) or not 0.0 <= float(str(given)) <= 1.0:
        said = "moves must be a number from 0 to 1."
        remedy = "It is the chance that a choice is drawn afresh in the next round of a state."
        mistakes.add((*path, "moves"), said, remedy)
        return CHOICE_MOVES
    if not any(prior.kind == "choice" for prior in priors.values()):
        said = f'"moves" makes no sense in "{name}", which has no choice.'
        mistakes.add((*path, "moves"), said, "Leave it out, or give a state a choice.")
    return float(str(given))


def _require_driven_keys(name: str, table: Table, path: Path, mistakes: MistakeList) -> None:
    has_always = "always" in table
    belonging = ("drift",) if has_always else (*STATES, "repeat")
    every = ("unit", "always", "drift", "repeat", "moves", "limits", *STATES)
    for key in table:
        if key not in every:
            said = f'Unknown state or key "{key}" in driven quantity "{name}".'
            mistakes.add((*path, key), said, nearest(key, every))
        elif key not in {"unit", "always", "moves", "limits", *belonging}:
            said = f'"{key}" makes no sense {"with" if has_always else "without"} always.'
            remedy = "Use always and drift, or states and repeat."
            mistakes.add((*path, key), said, remedy)


def _unit(name: str, table: Table, path: Path, mistakes: MistakeList) -> Unit | None:
    given = table.get("unit")
    for unit in UNITS:
        if given == unit:
            return unit
    said = f'The driven quantity "{name}" has ' + (f'unit "{given}".' if given else "no unit.")
    mistakes.add((*path, "unit"), said, f"Use one of {', '.join(UNITS)}.")
    return None


def _state_prior(value: object, path: Path, mistakes: MistakeList) -> Prior | None:
    if is_number(value):
        return fixed(float(str(value)))
    if isinstance(value, dict):
        return read_prior(value, path, mistakes)
    mistakes.add(
        path, "A state needs a number or a prior.", 'Write { uniform = [a, b], source = "..." }.'
    )
    return None
