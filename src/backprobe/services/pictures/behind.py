"""What stands behind each wire on the control unit's side, from the family's netlist."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from backprobe.families.circuit import CONNECTOR
from backprobe.families.schema import Element, Family, Prior, Wire
from backprobe.families.wording import spread

GROUNDS: Final = ("cu-ground", "cu-inner", "body", "battery-")
_BODY: Final = ("body", "battery-")
_FEEDS: Final = {
    "vcc": "5 V",
    "ref": "5 V",
    "feed": "battery",
    "cu-battery": "battery",
    "battery": "battery",
}
_MOST_TIE_OHM, _MOST_SHUNT_OHM = 5.0, 500.0  # families: ties of 1 ohm, shunts of 65 to 140 ohm


@dataclass(frozen=True, slots=True)
class Behind:
    """What stands behind one wire.

    symbol : name of the symbol that stands in the line to ``end``, empty for none.
    end : "rail", "ground" or "" (the symbol itself ends the line); ``feed`` is written at a rail.
    inside : whether that is in the control unit, and not a fuse box or the body.
    """

    words: str
    symbol: str = ""
    end: str = ""
    feed: str = ""
    inside: bool = True


UNKNOWN: Final = Behind("not decided yet", "unknown", inside=False)
_GROUND: Final = Behind("ground rail for sensors", "", "ground")
_BATTERY: Final = Behind("battery, through switch, relay or fuse", "fuse", "rail", "battery", False)
_BRIDGE: Final = Behind("bridge that drives both ways", "bridge")
_DRIVER: Final = Behind("low-side driver to ground", "contact", "ground")
_ANY_GROUND: Final = Behind("ground rail of the control unit, or body", "", "ground", "", False)
_BODY_GROUND: Final = Behind("ground point on body or engine", "", "ground", "", False)
# Where no family says more: the role alone.
_BY_ROLE: Final[dict[str, Behind]] = {
    "supply-regulated": Behind("regulated supply", "", "rail", "supply"),
    "supply-battery": _BATTERY,
    "sensor-ground": _ANY_GROUND,
    "signal-analogue": Behind("input", "input"),
    "signal-switching": Behind("input", "input"),
    "signal-thermistor": Behind("pull-up to the supply", "resistor", "rail", "supply"),
    "signal-switch": Behind("pull-up to the supply", "resistor", "rail", "supply"),
    "generator-signal": Behind("input", "input"),
    "generator-return": Behind("return, tied to ground or biased", "resistor", "ground"),
    "heater-control": _DRIVER,
    "driver-control": _DRIVER,
    "motor": _BRIDGE,
    "shield": Behind("screen tied to ground", "", "ground"),
    "not-used": Behind("nothing"),
}


def behind_role(role: str) -> Behind:
    """What a role alone says."""
    return _BY_ROLE.get(role, UNKNOWN)


def behind_wires(family: Family, wires: Sequence[Wire]) -> Behind:
    """What stands behind a wire, or behind any of the wires that it may be."""
    found = list(dict.fromkeys(_behind(family, wire) for wire in wires))
    if len(found) == 1:
        return found[0]
    if all(each.end == "ground" and not each.symbol for each in found):
        return _ANY_GROUND
    first = found[0]
    if len({(each.symbol, each.end, each.inside) for each in found}) == 1:
        words = " or ".join(dict.fromkeys(each.words for each in found))
        return Behind(words, first.symbol, first.end, first.feed, first.inside)
    words = " or ".join(dict.fromkeys(re.split("[:,]", each.words)[0] for each in found))
    return Behind(words, "input")


def _behind(family: Family, wire: Wire) -> Behind:
    if wire.role == "supply-battery" or wire.to in {"feed", "battery"}:
        return _BATTERY
    if wire.role == "supply-regulated":
        return _supply(family, wire)
    if wire.role in {"motor", "shield"}:
        return behind_role(wire.role)
    if wire.to in _BODY:
        return _BODY_GROUND
    if wire.to in GROUNDS:
        return _GROUND
    return _inner(family, wire)


def _supply(family: Family, wire: Wire) -> Behind:
    own = next((e for e in _at(family, wire) if e.kind == "source" and e.nodes[0] == wire.to), None)
    prior = family.values["ref-volts"] if own is None else _volts_prior(family, own)
    if prior is None:
        return behind_role(wire.role)
    volts = _about(prior)
    return Behind(f"regulated supply, {volts}", "", "rail", _rail(volts))


def _inner(family: Family, wire: Wire) -> Behind:
    """Behind a node inside the control unit: by what hangs there in any of its builds."""
    found = [
        (kind, said, _is_always_there(element))
        for element in _at(family, wire)
        for kind, said in [_kind(family, element, wire)]
        if kind
    ]
    kinds = {kind for kind, _, _ in found}
    for kind, behind in (("driver", _DRIVER), ("bridge", _BRIDGE)):
        if kind in kinds:
            return behind
    # What leaks to ground in every build tells less than what pulls in some of them.
    sure = [each for each in found if each[2] and each[0] != "pull-down"]
    found = sure or found
    kinds = {kind for kind, _, _ in found}
    said = tuple(dict.fromkeys(said for _, said, _ in found if said))
    if len(kinds) == 1:
        return _single(kinds.pop(), said)
    if wire.role == "generator-return":
        return Behind(_either(kinds), "resistor", "ground")
    return Behind(f"input: {_either(kinds)}" if kinds else "input", "input")


def _single(kind: str, said: tuple[str, ...]) -> Behind:
    if kind == "pull-up":
        feeds = " or ".join((", ".join(said[:-1]), said[-1])) if len(said) > 1 else said[0]
        return Behind(f"pull-up to {feeds}", "resistor", "rail", _rail(feeds))
    if kind == "bias":
        is_on_return = any(each.endswith("return") for each in said)
        words = f"bias, {said[0]}" if len(said) == 1 else "bias"
        return Behind(words, "source", "" if is_on_return else "ground")
    if kind == "shunt":
        return Behind("shunt to ground, measures the current", "resistor", "ground")
    if kind == "pull-down":
        return Behind("pull-down to ground", "resistor", "ground")
    return Behind(kind, "", "ground")


def _either(kinds: set[str]) -> str:
    """Say what may hang there: "weak pull-up or pull-down"."""
    fixed = [kind for kind in ("tied to ground", "shunt") if kind in kinds]
    weak = [kind for kind in ("pull-up", "pull-down", "bias") if kind in kinds]
    return " or ".join([*fixed, *(["weak " + " or ".join(weak)] if weak else [])])


def _rail(volts: str) -> str:
    """What is written at a rail, where there is room for little."""
    return volts if len(volts) <= len("battery") else "supply"


def _kind(family: Family, element: Element, wire: Wire) -> tuple[str, str]:
    """What an element is to a wire, and the feed or the volts of it; empty for none of these."""
    plain = {"contact": "driver", "ratiometric": "bridge", "regulated": "bridge"}
    if element.kind in plain:
        return plain[element.kind], ""
    if element.kind == "source":
        return _bias(family, element, wire)
    other = next((node for node in element.nodes[:2] if node != wire.to), "")
    if other in GROUNDS:
        return _to_ground(family, element), ""
    feed = _FEEDS.get(other) or _own_feed(family, other)
    # Else it goes across to another wire, or is a second pull-up behind a switch.
    return ("pull-up", feed) if feed else ("", "")


def _bias(family: Family, source: Element, wire: Wire) -> tuple[str, str]:
    if source.nodes[0] != wire.to:
        return "", ""  # another wire's bias stands on this one
    prior = _volts_prior(family, source)
    volts = _about(prior) if prior is not None else ""
    return "bias", volts if source.nodes[1] in GROUNDS else f"{volts} above its return".strip()


def _own_feed(family: Family, node: str) -> str:
    """The volts of a regulator that feeds a node which is no signal's."""
    source = next((e for e in family.elements if e.kind == "source" and e.nodes[0] == node), None)
    if source is None or any(
        wire.to == node and wire.role != "supply-regulated" for wire in family.wires
    ):
        return ""
    prior = _volts_prior(family, source)
    return _about(prior) if prior is not None else "a supply of its own"


def _volts_prior(family: Family, source: Element) -> Prior | None:
    """The volts of a source; None where the vehicle's state moves them."""
    return family.values.get(source.parameters["volt"])


def _about(prior: Prior) -> str:
    """What a source gives: its middle, or whole volts where it may be far apart."""
    if prior.kind == "uniform" and prior.b - prior.a > 2.0 and prior.a >= 1.0:
        return f"{math.ceil(prior.a)} to {math.floor(prior.b)} V"
    return spread(prior, "volt").split(" +-")[0]


def _to_ground(family: Family, element: Element) -> str:
    prior = family.values[element.parameters["ohm"]]
    most = prior.a if prior.kind == "fixed" else max(prior.a, prior.b)
    if most <= _MOST_TIE_OHM:
        return "tied to ground"
    return "shunt" if most <= _MOST_SHUNT_OHM else "pull-down"


def _is_always_there(element: Element) -> bool:
    return element.only_if is None or element.only_if[0] == CONNECTOR


def _at(family: Family, wire: Wire) -> list[Element]:
    return [e for e in family.elements if e.side == "control-unit" and wire.to in e.nodes]
