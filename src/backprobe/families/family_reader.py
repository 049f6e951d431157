"""Turns the tables of a family file into a ``Family``, noting every mistake on the way."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from backprobe.families.check import check_circuit
from backprobe.families.element_reader import ElementReader, Parts
from backprobe.families.mistakes import MistakeList, Path, nearest, read_text, unknown_keys
from backprobe.families.prior_reader import Table, is_number, read_driven, read_prior
from backprobe.families.schema import (
    BUILT_IN_NODES,
    MOST_WIRES,
    Driven,
    Element,
    Family,
    Prior,
    Side,
    Wire,
)
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
_WIRE_NAME = re.compile(r"[A-Za-z0-9-]+")
_COMMON_KEYS = ("format", "value", "driven", "control-unit")


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
    texts, prior = _read_head(document, stem, mistakes)
    wires = _read_wires(document, mistakes)
    parts = Parts(
        values=dict(common.values),
        driven=dict(common.driven),
        elements=list(common.elements),
        used={*common.values, *common.driven},
    )
    _read_parts(document, parts, ("control-unit", "sensor"), mistakes)
    _note_unused(document, parts, mistakes)
    reports = _read_reports(document, wires, mistakes)
    if not mistakes.found:
        check_circuit(wires, parts.elements, parts.selecting(), parts.element_paths, mistakes)
    if mistakes.found:
        return None
    return Family(
        **texts,
        prior=prior,
        wires=wires,
        values=parts.values,
        driven=parts.driven,
        elements=tuple(parts.elements),
        reports=reports,
    )


def _read_head(document: Table, stem: str, mistakes: MistakeList) -> tuple[dict[str, str], float]:
    version = document.get("format")
    if version != FORMAT or isinstance(version, bool):
        said = "This file doesn't say which format it is in."
        if version is not None:
            said = f"This file is in format {version}; this program reads format {FORMAT}."
        mistakes.add(("format",), said, f"Start it with format = {FORMAT}.")
    texts = {key: read_text(document, key, (), "The family", mistakes) for key in _FAMILY_TEXTS}
    if texts["id"] and texts["id"] != stem:
        said = f'The id "{texts["id"]}" isn\'t the name of the file.'
        mistakes.add(("id",), said, f'Write id = "{stem}", or name the file {texts["id"]}.toml.')
    if texts["kind"] and texts["kind"] not in CONNECTOR_KINDS:
        said = f'"{texts["kind"]}" is no kind of connector.'
        mistakes.add(("kind",), said, nearest(texts["kind"], CONNECTOR_KINDS))
    prior = document.get("prior")
    if not is_number(prior) or float(str(prior)) <= 0:
        said = "prior must be a number above zero."
        remedy = "1.0 is as common as the usual circuit with this number of wires."
        mistakes.add(("prior",), said, remedy)
        return texts, 1.0
    return texts, float(str(prior))


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
            read_text(table, key, path, "A wire", mistakes) for key in ("name", "role", "to")
        )
        if role and role not in ROLES:
            mistakes.add((*path, "role"), f'"{role}" is no role of a wire.', nearest(role, ROLES))
        if name in {wire.name for wire in wires}:
            mistakes.add((*path, "name"), f'Two wires are named "{name}".', "Rename one of them.")
        if name and (not _WIRE_NAME.fullmatch(name) or name in BUILT_IN_NODES):
            said = f'A wire can\'t be named "{name}".'
            remedy = f"Use letters, digits and hyphens, and none of {', '.join(BUILT_IN_NODES)}."
            mistakes.add((*path, "name"), said, remedy)
        wires.append(Wire(name, role, to))
    if not wires:
        mistakes.add((), "This family has no wires.", "Add one [[wire]] for each terminal.")
    if len(wires) > MOST_WIRES:
        said = f"This family has {len(wires)} wires."
        mistakes.add(("wire", MOST_WIRES), said, f"At most {MOST_WIRES} can be told apart.")
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
    reader = ElementReader(parts, mistakes)
    for side in sides:
        for index, table in enumerate(_tables(document, side, mistakes)):
            element = reader.read(table, (side, index), side)
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


def _read_reports(
    document: Table, wires: tuple[Wire, ...], mistakes: MistakeList
) -> tuple[tuple[str, str], ...]:
    reports: list[tuple[str, str]] = []
    names = [wire.name for wire in wires]
    for index, table in enumerate(_tables(document, "reports", mistakes)):
        path: Path = ("reports", index)
        unknown_keys(table, path, ("scan", "wire"), "a report", mistakes)
        scan = read_text(table, "scan", path, "A report", mistakes)
        wire = read_text(table, "wire", path, "A report", mistakes)
        if scan and scan not in SCAN_NAMES:
            said = f'"{scan}" is no value that a control unit reports.'
            mistakes.add((*path, "scan"), said, nearest(scan, SCAN_NAMES))
        if wire and wire not in names:
            mistakes.add((*path, "wire"), f'No wire is named "{wire}".', nearest(wire, names))
        reports.append((scan, wire))
    return tuple(reports)
