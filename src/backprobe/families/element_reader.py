"""Reads the elements of a family file: nodes, values, conditions."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from backprobe.families.element_kinds import ELEMENT_KINDS, PARAMETERS, ElementKind
from backprobe.families.mistakes import MistakeList, Path, nearest, read_text, unknown_keys
from backprobe.families.prior_reader import Table, fixed, is_number, read_prior
from backprobe.families.schema import Driven, Element, Prior, Side, options_of


@dataclass(slots=True)
class Parts:
    """Values, driven quantities and elements while a file is being read."""

    values: dict[str, Prior] = field(default_factory=dict)
    driven: dict[str, Driven] = field(default_factory=dict)
    elements: list[Element] = field(default_factory=list)
    element_paths: dict[str, Path] = field(default_factory=dict)
    named: set[str] = field(default_factory=set)
    used: set[str] = field(default_factory=set)

    def selecting(self) -> Mapping[str, Prior | Driven]:
        """Everything that an element may depend on, by name."""
        return {**self.values, **self.driven}


class ElementReader:
    """Reads elements into ``parts``, noting mistakes."""

    def __init__(self, parts: Parts, mistakes: MistakeList) -> None:
        self.parts = parts
        self.mistakes = mistakes

    def read(self, table: Table, path: Path, side: Side) -> Element | None:
        """Read one element; None where something is wrong with it."""
        before = len(self.mistakes.found)
        name = read_text(table, "name", path, "An element", self.mistakes)
        kind_name = read_text(table, "kind", path, f'The element "{name}"', self.mistakes)
        if name in {element.name for element in self.parts.elements}:
            said = f'Another element is named "{name}", here or in common.toml.'
            self.mistakes.add((*path, "name"), said, "Rename one of them.")
        kind = ELEMENT_KINDS.get(kind_name)
        if kind is None:
            if kind_name:
                said = f'"{kind_name}" is no kind of element.'
                self.mistakes.add((*path, "kind"), said, nearest(kind_name, ELEMENT_KINDS))
            return None
        known = ("name", "kind", *kind.node_keys, *kind.parameters, "only_if", "passive")
        unknown_keys(table, path, known, f"a {kind_name}", self.mistakes)
        nodes = self._nodes(table, path, kind)
        self._require_form(table, path, kind)
        parameters = self._parameters(table, path, kind)
        only_if = self._only_if(table, path)
        passive = table.get("passive", kind.passive and side == "sensor")
        if not isinstance(passive, bool):
            where = (*path, "passive")
            self.mistakes.add(where, "passive must be true or false.", "Write passive = true.")
        if len(self.mistakes.found) != before:
            return None
        return Element(name, kind_name, side, nodes, parameters, only_if, passive is True)

    def _nodes(self, table: Table, path: Path, kind: ElementKind) -> tuple[str, ...]:
        owner = f'The element "{table.get("name")}"'
        if not kind.between:
            return tuple(
                read_text(table, key, path, owner, self.mistakes) for key in kind.node_keys
            )
        given = table.get("between")
        sound = isinstance(given, list) and all(isinstance(node, str) and node for node in given)
        if not isinstance(given, list) or not sound or len(given) != len(kind.between):
            said = f"A {kind.meaning} stands between {len(kind.between)} nodes."
            ends = ", ".join(f'"{end}"' for end in kind.between)
            remedy = f"Write between = [{ends}], each the name of a node."
            self.mistakes.add((*path, "between"), said, remedy)
            return ()
        if len(set(given)) != len(given):
            said = f"{owner} has two ends on the same node."
            self.mistakes.add((*path, "between"), said, "Name different nodes.")
        fed = (key for key in kind.node_keys[1:] if key in table)
        return (*given, *(read_text(table, key, path, owner, self.mistakes) for key in fed))

    def _require_form(self, table: Table, path: Path, kind: ElementKind) -> None:
        """Note keys that are missing, or that belong to another form of this kind."""
        owner = f'The {kind.meaning} "{table.get("name")}"'
        given = {key for key in kind.parameters if key in table}
        fits = [form for form in kind.forms if set(form) <= given]
        forms = " or ".join(", ".join(form) for form in kind.forms)
        if not fits:
            missing = " and no ".join(key for key in kind.forms[0] if key not in given)
            self.mistakes.add(path, f"{owner} has no {missing}.", f"It needs {forms}.")
        elif extra := given - {*fits[0], *kind.optional, *kind.needs}:
            where = (*path, min(extra))
            said = f"{owner} has {min(extra)} besides {', '.join(fits[0])}."
            self.mistakes.add(where, said, f"It takes {forms}.")
        needed = [key for key in kind.needs if key not in table]
        if needed and len(needed) < len(kind.needs):
            remedy = f"{', '.join(kind.needs)} go together; leave out all of them or none."
            self.mistakes.add(path, f"{owner} has no {' and no '.join(needed)}.", remedy)

    def _parameters(self, table: Table, path: Path, kind: ElementKind) -> Mapping[str, str]:
        parameters: dict[str, str] = {}
        for key in kind.parameters:
            if key not in table:
                continue
            where = (*path, key)
            name = self._value_name(table[key], f"{table.get('name')}.{key}", key, where)
            if name is not None:
                self._require_in_range(name, key, where)
                parameters[key] = name
        return parameters

    def _value_name(self, value: object, own: str, key: str, path: Path) -> str | None:
        """Name of the value that a key holds, or names; None where there is none."""
        if isinstance(value, str):
            self.parts.used.add(value)
            if value in self.parts.values or value in self.parts.driven:
                return value
            if value not in self.parts.named:  # else it exists, with a mistake of its own
                said = f'No value or driven quantity is named "{value}".'
                known = {*self.parts.named, *self.parts.driven}
                self.mistakes.add(path, said, nearest(value, known))
            return None
        if is_number(value):
            self.parts.values[own] = fixed(float(str(value)))
            return own
        if isinstance(value, dict):
            prior = read_prior(value, path, self.mistakes)
            if prior is None:
                return None
            self.parts.values[own] = prior
            return own
        said = f"{key} must be a number, a prior or the name of a value."
        self.mistakes.add(path, said, f"It is in {PARAMETERS[key].unit}.")
        return None

    def _require_in_range(self, name: str, key: str, path: Path) -> None:
        parameter = PARAMETERS[key]
        driven = self.parts.driven.get(name)
        if driven is not None and driven.unit != parameter.unit:
            said = f'"{name}" is driven in {driven.unit}, but {key} is in {parameter.unit}.'
            self.mistakes.add(path, said, "Name another driven quantity, or correct its unit.")
            return
        for prior in _priors(self.parts.values[name] if driven is None else driven):
            if any(isinstance(one, str) for one in prior.choices):
                said = f'"{name}" is a choice of words; {key} needs numbers.'
                self.mistakes.add(path, said, "Use a choice of words only in only_if.")
                return
            lowest, highest = _extent(prior)
            if lowest < parameter.low or highest > parameter.high:
                reach = f"{lowest:g}" if lowest == highest else f"{lowest:g} to {highest:g}"
                said = f"{key} is {reach} {parameter.unit}."
                remedy = f"It must lie between {parameter.low:g} and {parameter.high:g}."
                self.mistakes.add(path, said, remedy)
                return

    def _only_if(self, table: Table, path: Path) -> tuple[str, str] | None:
        given = table.get("only_if")
        if given is None:
            return None
        where = (*path, "only_if")
        if not isinstance(given, dict) or set(given) != {"value", "is"}:
            remedy = 'Write only_if = { value = "NAME", is = "choice" }.'
            self.mistakes.add(where, "only_if needs value and is.", remedy)
            return None
        value, choice = str(given["value"]), str(given["is"])
        self.parts.used.add(value)
        known = self.parts.selecting()
        selectors = {name: words for name, prior in known.items() if (words := options_of(prior))}
        if value not in selectors:
            unread = value in self.parts.named and value not in self.parts.values
            if not unread or value in self.parts.driven:
                said = f'"{value}" is no choice of words, and no driven share of 0 or 1.'
                self.mistakes.add(where, said, nearest(value, selectors))
            return None
        if choice not in selectors[value]:
            said = f'"{value}" is never "{choice}".'
            self.mistakes.add(where, said, nearest(choice, selectors[value]))
            return None
        return value, choice


def _priors(value: Prior | Driven) -> Iterable[Prior]:
    if isinstance(value, Prior):
        return (value,)
    return (value.always,) if value.always is not None else value.states.values()


def _extent(prior: Prior) -> tuple[float, float]:
    if prior.kind == "choice":
        numbers = [float(one) for one in prior.choices]
        return min(numbers), max(numbers)
    if prior.kind in {"uniform", "log_uniform"}:
        return prior.a, prior.b
    # The tails of a normal or log-normal prior are cut where the circuit is solved.
    return prior.a, prior.a
