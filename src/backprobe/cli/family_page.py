"""A family in words and tables: its wires, values, and what each wire reads."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Final

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from backprobe.families.element_kinds import PARAMETERS
from backprobe.families.loader import common_parts
from backprobe.families.wording import driven_words, number, spread
from backprobe.vocabulary import NO_FAULT, ROLE_MEANING

if TYPE_CHECKING:
    from backprobe.families.faults import Fault
    from backprobe.families.schema import Driven, Family, Prior
    from backprobe.families.tables import Range, Row

USUAL_STATES: Final = ("unplugged, key on", "plugged, key on", "idle")
SAME: Final = "-"


def family_list(families: Sequence[Family]) -> RenderableType:
    """Lay all families out as a table."""
    table = _table("id", "wires", "kind", "circuit")
    for family in families:
        table.add_row(family.id, str(len(family.wires)), family.kind, family.title)
    return Group(table, Text(f"\n{len(families)} families. `backprobe family show ID` tells more."))


def list_json(family: Family) -> dict[str, object]:
    """Say in brief what a family is, for other programs."""
    return {
        "id": family.id,
        "title": family.title,
        "kind": family.kind,
        "prior": family.prior,
        "wires": [{"name": wire.name, "role": wire.role} for wire in family.wires],
    }


def family_head(family: Family) -> RenderableType:
    """Tell what a family is and which wires it has; its drawing follows."""
    return Group(
        Text(f"{family.title} ({family.id})", style="bold"),
        Text(f"{family.about}\nSource: {family.source}."),
        _headed("Wires", _wires(family)),
        Text("\nCircuit", style="bold"),
    )


def family_body(family: Family, rows: Sequence[Row], *, every_state: bool) -> RenderableType:
    """Tell what is believed of a family, and what its wires read, healthy and with each fault."""
    healthy, *faulty = rows
    states = tuple(healthy.volts) if every_state else USUAL_STATES
    return Group(
        _headed("What is believed before anything is measured", _values(family)),
        _headed("What the vehicle's state moves", _driven(family)),
        healthy_readings(family, healthy),
        *(
            _headed(f"Faults: {state}, DC volts where they differ", _faults(family, rows, state))
            for state in states
            if faulty
        ),
    )


def healthy_readings(family: Family, row: Row) -> RenderableType:
    """Lay out what each wire reads in each state when nothing is wrong."""
    parts = [
        _headed("What each wire reads: DC volts to battery negative", _grid(family, row.volts))
    ]
    for words, by_state in (("hertz", row.hertz), ("AC volts", row.alternating)):
        if any(found is not None for ranges in by_state.values() for found in ranges):
            parts.append(_headed(f"What each wire reads: {words}", _grid(family, by_state)))
    return Group(*parts)


def show_json(family: Family, rows: Sequence[Row]) -> dict[str, object]:
    """Tell everything about a family, for other programs."""
    return {
        "format": 1,
        **list_json(family),
        "about": family.about,
        "source": family.source,
        "wires": [{"name": wire.name, "role": wire.role, "from": wire.to} for wire in family.wires],
        "values": {
            name: {"spread": spread(prior, _unit(family, name)), "source": prior.source}
            for name, prior in _own_values(family).items()
        },
        "driven": {
            name: [
                {"state": state, "spread": words, "source": source}
                for state, words, source in driven_words(driven)
            ]
            for name, driven in _own_driven(family).items()
        },
        "readings": [_row_json(family, row) for row in rows],
    }


def _row_json(family: Family, row: Row) -> dict[str, object]:
    wires = [wire.name for wire in family.wires]
    return {
        "fault": row.fault.name,
        "poor_contact": row.fault.is_poor,
        "wires": list(row.fault.wires),
        "volts": {
            state: {
                wire: [round(found.low, 4), round(found.middle, 4), round(found.high, 4)]
                for wire, found in zip(wires, ranges, strict=True)
            }
            for state, ranges in row.volts.items()
        },
    }


def _wires(family: Family) -> Table:
    table = _table("wire", "role", "the wire is", "starts at")
    for wire in family.wires:
        table.add_row(wire.name, wire.role, ROLE_MEANING[wire.role], wire.to)
    return table


def _values(family: Family) -> Table:
    table = _table("value", "spread", "source")
    for name, prior in _own_values(family).items():
        table.add_row(name, spread(prior, _unit(family, name)), prior.source)
    return table


def _driven(family: Family) -> Table:
    table = _table("quantity", "state", "spread", "source")
    for name, driven in _own_driven(family).items():
        for place, (state, words, source) in enumerate(driven_words(driven)):
            table.add_row(name if place == 0 else "", state, words, source)
    return table


def _own_values(family: Family) -> dict[str, Prior]:
    """Values of the family itself that aren't simply known."""
    common = common_parts().values
    return {
        name: prior
        for name, prior in family.values.items()
        if name not in common and prior.kind != "fixed"
    }


def _own_driven(family: Family) -> dict[str, Driven]:
    common = common_parts().driven
    return {name: driven for name, driven in family.driven.items() if name not in common}


def _unit(family: Family, name: str) -> str:
    """Unit of a value: that of the key it stands under, wherever it is used first."""
    for element in family.elements:
        for key, value in element.parameters.items():
            if value == name:
                return PARAMETERS[key].unit
    return ""


def _grid(family: Family, by_state: Mapping[str, tuple[Range | None, ...]]) -> Table:
    states = [state for state, ranges in by_state.items() if any(found for found in ranges)]
    table = _table("wire", *states)
    for place, wire in enumerate(family.wires):
        found = [by_state[state][place] for state in states]
        if any(found):
            table.add_row(wire.name, *(_range(one) for one in found))
    return table


def _faults(family: Family, rows: Sequence[Row], state: str) -> Table:
    healthy, *faulty = rows
    table = _table("fault", "wire", *(wire.name for wire in family.wires))
    table.add_row(NO_FAULT, "", *(_range(found) for found in healthy.volts[state]))
    for row in faulty:
        pairs = zip(row.volts[state], healthy.volts[state], strict=True)
        cells = [SAME if found.is_like(usual) else _range(found) for found, usual in pairs]
        table.add_row(row.fault.title, _where(row.fault), *cells)
    return table


def _where(fault: Fault) -> str:
    return " + ".join(fault.wires)


def _range(found: Range | None) -> str:
    if found is None:
        return ""
    low, high = _figure(found.low), _figure(found.high)
    return low if low == high else f"{low} to {high}"


def _figure(value: float) -> str:
    if abs(value) >= 100:
        return number(value, "")
    return f"{round(value, 2) + 0.0:.2f}" if abs(value) < 10 else f"{value:.1f}"


def _headed(words: str, content: RenderableType) -> RenderableType:
    return Group(Text(f"\n{words}", style="bold"), Padding(content, (0, 0, 0, 2)))


def _table(*columns: str) -> Table:
    table = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False, header_style="underline")
    for place, column in enumerate(columns):
        table.add_column(column, overflow="fold", no_wrap=place == 0)
    return table
