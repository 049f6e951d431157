"""Turns the tables of a family file into a ``Family``, noting every mistake on the way."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from backprobe.families.check import check_circuit
from backprobe.families.element_kinds import ELEMENT_KINDS, OUTPUT_NODES, PARAMETERS, ElementKind
from backprobe.families.mistakes import MistakeList, Path, nearest, unknown_keys
from backprobe.families.prior_reader import Table, fixed, is_number, read_driven, read_prior
from backprobe.families.schema import Driven, Element, Family, Prior, Side, Wire
from backprobe.vocabulary import CONNECTOR_KINDS, ROLES, SCAN_NAMES

FORMAT = 1
_FAMILY_TEXTS = ("id", "title", "kind", "about", "source")
_FAMILY_KEYS = (
    "format",
    *_FAMILY_TEXTS,
    "prior",
    "reports",
    "wire",
    "value",
    "driven",
    "control-unit",
    "sensor",
)
_COMMON_KEYS = ("format", "value", "driven", "control-unit")


@dataclass(slots=True)
class Parts:
    """Values, driven quantities and elements while a file is being read."""

    values: dict[str, Prior] = field(default_factory=dict)
    driven: dict[str, Driven] = field(default_factory=dict)
    elements: list[Element] = field(default_factory=list)
    element_paths: dict[str, Path] = field(default_factory=dict)
    named: set[str] = field(default_factory=set)
    used: set[str] = field(default_factory=set)


@dataclass(frozen=True, slots=True)
class CommonParts:
    """What all families share."""

    values: Mapping[str, Prior]
    driven: Mapping[str, Driven]
    elements: tuple[Element, ...]


def read_common(document: Table, mistakes: MistakeList) -> CommonParts | None:
    """Read ``common.toml``."""
    unknown_keys(document, (), _COMMON_KEYS, "the common file", mistakes)
    parts = Parts()
    _read_parts(document, parts, ("control-unit",), mistakes)
    if mistakes.found:
        return None
    return CommonParts(parts.values, parts.driven, tuple(parts.elements))


def read_family(
    document: Table, stem: str, common: CommonParts, mistakes: MistakeList
) -> Family | None:
    """Read a family's document; None when it has mistakes."""
    unknown_keys(document, (), _FAMILY_KEYS, "a family file", mistakes)
    if document.get("format") != FORMAT:
        said = "This file doesn't say which format it is in."
        mistakes.add(("format",), said, f"Start it with format = {FORMAT}.")
    texts = {key: _text(document, key, (), "The family", mistakes) for key in _FAMILY_TEXTS}
    if texts["id"] and texts["id"] != stem:
        said = f'The id "{texts["id"]}" isn\'t the name of the file.'
        mistakes.add(("id",), said, f'Write id = "{stem}", or name the file {texts["id"]}.toml.')
    if texts["kind"] and texts["kind"] not in CONNECTOR_KINDS:
        said = f'"{texts["kind"]}" is no kind of connector.'
        mistakes.add(("kind",), said, nearest(texts["kind"], CONNECTOR_KINDS))
    prior = document.get("prior")
    if not is_number(prior) or float(str(prior)) <= 0:
        said = "prior must be a number above zero."
        mistakes.add(("prior",), said, "1.0 is as common as the usual circuit of so many wires.")
    wires = _read_wires(document, mistakes)
    parts = Parts(values=dict(common.values), driven=dict(common.driven), used=set(common.values))
    parts.used |= set(common.driven)
    parts.elements.extend(common.elements)
    _read_parts(document, parts, ("control-unit", "sensor"), mistakes)
    _note_unused(document, parts, mistakes)
    reports = _read_reports(document, wires, mistakes)
    if mistakes.found:
        return None
    check_circuit(wires, parts.elements, parts.element_paths, mistakes)
    if mistakes.found:
        return None
    return Family(
        **texts,
        prior=float(str(prior)),
        wires=wires,
        values=parts.values,
        driven=parts.driven,
        elements=tuple(parts.elements),
        reports=reports,
    )


def _text(table: Table, key: str, path: Path, owner: str, mistakes: MistakeList) -> str:
    value = table.get(key)
    if isinstance(value, str) and value.strip():
        return " ".join(value.split())
    said = f"{owner} has no {key}." if value is None else f"{owner}: {key} must be a text."
    mistakes.add((*path, key), said, f'Add {key} = "...".')
    return ""


def _tables(document: Table, key: str, mistakes: MistakeList) -> list[Table]:
    given = document.get(key, [])
    if isinstance(given, list) and all(isinstance(one, dict) for one in given):
        return given
    mistakes.add((key,), f'"{key}" must be a list of tables.', f"Write each one under [[{key}]].")
    return []


def _named_tables(document: Table, key: str, mistakes: MistakeList) -> Mapping[str, Table]:
    given = document.get(key, {})
    if isinstance(given, dict) and all(isinstance(one, dict) for one in given.values()):
        return given
    mistakes.add((key,), f'"{key}" must hold named tables.', f"Write each one under [{key}.NAME].")
    return {}


def _read_wires(document: Table, mistakes: MistakeList) -> tuple[Wire, ...]:
    wires: list[Wire] = []
    for index, table in enumerate(_tables(document, "wire", mistakes)):
        path: Path = ("wire", index)
        unknown_keys(table, path, ("name", "role", "to"), "a wire", mistakes)
        name, role, to = (
            _text(table, key, path, "A wire", mistakes) for key in ("name", "role", "to")
        )
        if role and role not in ROLES:
            mistakes.add((*path, "role"), f'"{role}" is no role of a wire.', nearest(role, ROLES))
        if name in {wire.name for wire in wires}:
            mistakes.add((*path, "name"), f'Two wires are named "{name}".', "Rename one of them.")
        wires.append(Wire(name, role, to))
    if not wires:
        mistakes.add((), "This family has no wires.", "Add one [[wire]] for each terminal.")
    return tuple(wires)


def _read_parts(
    document: Table, parts: Parts, sides: tuple[Side, ...], mistakes: MistakeList
) -> None:
    for name, table in _named_tables(document, "value", mistakes).items():
        path: Path = ("value", name)
        _claim(name, path, parts, mistakes)
        prior = read_prior(table, path, mistakes)
        if prior is not None:
            parts.values[name] = prior
    for name, table in _named_tables(document, "driven", mistakes).items():
        path = ("driven", name)
        _claim(name, path, parts, mistakes)
        driven = read_driven(name, table, path, mistakes)
        if driven is not None:
            parts.driven[name] = driven
    for side in sides:
        for index, table in enumerate(_tables(document, side, mistakes)):
            element = _read_element(table, (side, index), side, parts, mistakes)
            if element is not None:
                parts.elements.append(element)
                parts.element_paths[element.name] = (side, index)


def _note_unused(document: Table, parts: Parts, mistakes: MistakeList) -> None:
    values = _named_tables(document, "value", mistakes)
    for name in sorted(parts.named - parts.used):
        path = ("value" if name in values else "driven", name)
        mistakes.add(path, f'Nothing uses "{name}".', "Name it in an element, or take it out.")


def _claim(name: str, path: Path, parts: Parts, mistakes: MistakeList) -> None:
    if name in parts.values or name in parts.driven:
        said = f'"{name}" is already the name of a value, here or in common.toml.'
        mistakes.add(path, said, "Rename it.")
    parts.named.add(name)


def _read_element(
    table: Table, path: Path, side: Side, parts: Parts, mistakes: MistakeList
) -> Element | None:
    before = len(mistakes.found)
    name = _text(table, "name", path, "An element", mistakes)
    kind_name = _text(table, "kind", path, f'The element "{name}"', mistakes)
    if name in {element.name for element in parts.elements}:
        said = f'Another element is named "{name}", here or in common.toml.'
        mistakes.add((*path, "name"), said, "Rename one of them.")
    kind = ELEMENT_KINDS.get(kind_name)
    if kind is None:
        if kind_name:
            said = f'"{kind_name}" is no kind of element.'
            mistakes.add((*path, "kind"), said, nearest(kind_name, ELEMENT_KINDS))
        return None
    known = ("name", "kind", *kind.node_keys, *kind.parameters, "only_if", "passive")
    unknown_keys(table, path, known, f"a {kind_name}", mistakes)
    nodes = _read_nodes(table, path, kind, mistakes)
    parameters = _read_parameters(table, path, kind, parts, mistakes)
    only_if = _read_only_if(table, path, parts, mistakes)
    passive = table.get("passive", kind.passive and side == "sensor")
    if not isinstance(passive, bool):
        mistakes.add((*path, "passive"), "passive must be true or false.", "Write passive = true.")
    if len(mistakes.found) != before:
        return None
    return Element(name, kind_name, side, nodes, parameters, only_if, passive is True)


def _read_nodes(
    table: Table, path: Path, kind: ElementKind, mistakes: MistakeList
) -> tuple[str, ...]:
    if not kind.between:
        owner = f'The element "{table.get("name")}"'
        return tuple(_text(table, key, path, owner, mistakes) for key in OUTPUT_NODES)
    given = table.get("between")
    sound = isinstance(given, list) and all(isinstance(node, str) and node for node in given)
    if not isinstance(given, list) or not sound or len(given) != len(kind.between):
        ends = ", ".join(kind.between)
        said = f"A {kind.meaning} stands between {len(kind.between)} nodes."
        mistakes.add((*path, "between"), said, f"Write between = [{ends}].")
        return ()
    if len(set(given)) != len(given):
        said = f'Both ends of "{table.get("name")}" are on the same node.'
        mistakes.add((*path, "between"), said, "Name two different nodes.")
    fed = [str(table[key]) for key in kind.node_keys[1:] if key in table]
    if any(key in table for key in kind.needs) and not set(kind.needs) <= set(table):
        missing = [key for key in kind.needs if key not in table]
        said = f'The {kind.meaning} "{table.get("name")}" has no {" and no ".join(missing)}.'
        mistakes.add(path, said, f"{', '.join(kind.needs)} go together, or leave them all out.")
    return (*given, *fed)


def _read_parameters(
    table: Table,
    path: Path,
    kind: ElementKind,
    parts: Parts,
    mistakes: MistakeList,
) -> Mapping[str, str]:
    name = str(table.get("name"))
    given = [key for key in kind.parameters if key in table]
    fits = [form for form in kind.forms if set(form) <= set(given)]
    extra = set(given) - set(fits[0]) - set(kind.optional) - set(kind.needs) if fits else set()
    if not fits or extra:
        forms = " or ".join(", ".join(form) for form in kind.forms)
        missing = [key for key in kind.forms[0] if key not in given]
        said = f'The {kind.meaning} "{name}" ' + (
            f"has no {' and no '.join(missing)}." if not fits else f"has {min(extra)} besides."
        )
        mistakes.add(path, said, f"It needs {forms}.")
    parameters: dict[str, str] = {}
    for key in given:
        value, where = table[key], (*path, key)
        own = f"{name}.{key}"
        if is_number(value):
            parts.values[own] = fixed(float(str(value)))
        elif isinstance(value, dict):
            prior = read_prior(value, where, mistakes)
            if prior is None:
                continue
            parts.values[own] = prior
        elif isinstance(value, str):
            own = value
            parts.used.add(value)
            if value not in parts.values and value not in parts.driven:
                known = {*parts.named, *parts.driven}
                if value not in parts.named:
                    said = f'No value or driven quantity is named "{value}".'
                    mistakes.add(where, said, nearest(value, known))
                continue
        else:
            said = f"{key} must be a number, a prior or the name of a value."
            mistakes.add(where, said, f"It is in {PARAMETERS[key].unit}.")
            continue
        _require_in_range(own, key, where, parts, mistakes)
        parameters[key] = own
    return parameters


def _require_in_range(own: str, key: str, path: Path, parts: Parts, mistakes: MistakeList) -> None:
    parameter = PARAMETERS[key]
    driven = parts.driven.get(own)
    if driven is not None:
        candidates = [driven.always] if driven.always else list(driven.states.values())
        if driven.unit != parameter.unit:
            said = f'"{own}" is driven in {driven.unit}, but {key} is in {parameter.unit}.'
            mistakes.add(path, said, "Name another driven quantity, or correct its unit.")
            return
    else:
        candidates = [parts.values[own]]
    for prior in candidates:
        if any(isinstance(one, str) for one in prior.choices):
            said = f'"{own}" is a choice of words; {key} needs numbers.'
            mistakes.add(path, said, "Use a choice of words only in only_if.")
            return
        lowest, highest = _extent(prior)
        if lowest < parameter.low or highest > parameter.high:
            reach = f"{lowest:g}" if lowest == highest else f"{lowest:g} to {highest:g}"
            said = f"{key} is {reach} {parameter.unit}."
            remedy = f"It must lie between {parameter.low:g} and {parameter.high:g}."
            mistakes.add(path, said, remedy)
            return


def _extent(prior: Prior) -> tuple[float, float]:
    if prior.kind == "choice":
        numbers = [float(one) for one in prior.choices]
        return min(numbers), max(numbers)
    if prior.kind in {"uniform", "log_uniform"}:
        return prior.a, prior.b
    # The tails of a normal or log-normal prior are cut where the circuit is solved.
    return prior.a, prior.a


def _read_only_if(
    table: Table, path: Path, parts: Parts, mistakes: MistakeList
) -> tuple[str, str] | None:
    given = table.get("only_if")
    if given is None:
        return None
    where = (*path, "only_if")
    if not isinstance(given, dict) or set(given) != {"value", "is"}:
        remedy = 'Write only_if = { value = "NAME", is = "choice" }.'
        mistakes.add(where, "only_if needs value and is.", remedy)
        return None
    value, choice = str(given["value"]), str(given["is"])
    prior = parts.values.get(value)
    parts.used.add(value)
    selectors = {
        name: one.choices
        for name, one in parts.values.items()
        if one.choices and isinstance(one.choices[0], str)
    }
    if value not in selectors:
        if prior is not None or value not in parts.named:
            said = f'"{value}" is no choice of words.'
            mistakes.add(where, said, nearest(value, selectors))
        return None
    words = [str(one) for one in selectors[value]]
    if choice not in words:
        said = f'"{value}" is never "{choice}".'
        mistakes.add(where, said, nearest(choice, words))
        return None
    return value, choice


def _read_reports(
    document: Table, wires: tuple[Wire, ...], mistakes: MistakeList
) -> tuple[tuple[str, str], ...]:
    reports: list[tuple[str, str]] = []
    names = [wire.name for wire in wires]
    for index, table in enumerate(_tables(document, "reports", mistakes)):
        path: Path = ("reports", index)
        unknown_keys(table, path, ("scan", "wire"), "a report", mistakes)
        scan = _text(table, "scan", path, "A report", mistakes)
        wire = _text(table, "wire", path, "A report", mistakes)
        if scan and scan not in SCAN_NAMES:
            said = f'"{scan}" is no value that a control unit reports.'
            mistakes.add((*path, "scan"), said, nearest(scan, SCAN_NAMES))
        if wire and wire not in names:
            mistakes.add((*path, "wire"), f'No wire is named "{wire}".', nearest(wire, names))
        reports.append((scan, wire))
    return tuple(reports)
