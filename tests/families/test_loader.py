"""The families that come with the program."""

from collections import Counter
from importlib import resources

import pytest

from backprobe.families.loader import common_parts, load_families
from backprobe.families.schema import BUILT_IN_NODES, STATES, Family
from backprobe.vocabulary import CONNECTOR_KINDS, ROLES

FAMILIES = load_families()


def every(name: str) -> Family:
    return next(family for family in FAMILIES if family.id == name)


def test_each_file_is_loaded_under_its_own_name() -> None:
    folder = resources.files("backprobe.families").joinpath("data")
    stems = {e.name.removesuffix(".toml") for e in folder.iterdir() if e.name.endswith(".toml")}
    assert {family.id for family in FAMILIES} == stems
    assert len(FAMILIES) == len(stems) >= 50


def test_two_to_six_wires_are_covered() -> None:
    count = Counter(len(family.wires) for family in FAMILIES)
    assert set(count) == {2, 3, 4, 5, 6}
    assert min(count.values()) >= 5


@pytest.mark.parametrize("family", FAMILIES, ids=lambda family: family.id)
def test_words_come_from_the_vocabulary(family: Family) -> None:
    assert family.kind in CONNECTOR_KINDS
    assert {wire.role for wire in family.wires} <= set(ROLES)
    assert family.about.endswith(".")
    assert family.source


def test_every_role_but_the_empty_cavity_has_a_family() -> None:
    roles = {wire.role for family in FAMILIES for wire in family.wires}
    assert roles == set(ROLES) - {"not-used"}


@pytest.mark.parametrize("family", FAMILIES, ids=lambda family: family.id)
def test_every_prior_has_a_source_and_every_state_a_prior(family: Family) -> None:
    assert all(prior.source for prior in family.values.values() if prior.kind != "fixed")
    for driven in family.driven.values():
        for state in STATES:
            prior = driven.prior(state)
            assert prior.source or prior.kind == "fixed"


@pytest.mark.parametrize("family", FAMILIES, ids=lambda family: family.id)
def test_supplies_start_where_their_roles_say(family: Family) -> None:
    for wire in family.wires:
        if wire.role == "supply-battery":
            assert wire.to == "feed"
        if wire.role == "sensor-ground":
            assert wire.to in {"cu-ground", "body"}
        if wire.role == "supply-regulated":
            assert wire.to not in {"feed", "battery", "cu-ground", "battery-"}


def test_no_two_families_are_the_same_circuit() -> None:
    bodies = [
        (
            tuple(sorted((wire.role, wire.to) for wire in family.wires)),
            tuple((e.kind, e.nodes, e.only_if) for e in family.elements),
            tuple(sorted((name, str(driven)) for name, driven in family.driven.items())),
            tuple(sorted((name, str(prior)) for name, prior in family.values.items())),
        )
        for family in FAMILIES
    ]
    assert len(set(bodies)) == len(bodies)


def test_common_parts_make_the_built_in_nodes() -> None:
    parts = common_parts()
    made = {node for element in parts.elements for node in element.nodes}
    assert made == set(BUILT_IN_NODES)
    assert {"wire-ohm", "contact-ohm", "insulation-ohm"} <= set(parts.values)


def test_weights_sum_to_one() -> None:
    family = every("hall-battery")
    assert sum(family.values["pull-up-feed"].weights) == pytest.approx(1.0)


# IEC 60751: 200 ohm at 0 degC is the type of the exhaust sensor described; SAE J2716: each pulse
# is low for 5 of its 12 to 27 ticks at least nominally, so its mean high share is 7/12 to 22/27.
def test_published_values_lie_within_the_priors() -> None:
    assert every("platinum-two-wire").values["platinum.ohm_0"].a == 200.0
    share = every("serial-pulse-three-wire").driven["high-share"].prior("key-on")
    assert 7 / 12 < share.a < share.b < 0.9
    # Thermistors of published data sheets: 10 kohm and 15 kohm at 25 degC, B25/100 4101 K;
    # and the common "2.5 kohm at 20 degC" curve, about 2.06 kohm at 25 degC.
    prior = every("thermistor-two-wire").values["thermistor.ohm_25"]
    assert all(prior.a < ohm < prior.b for ohm in (2060.0, 10_000.0, 15_000.0))
    beta = every("thermistor-two-wire").values["thermistor.beta_kelvin"]
    assert beta.a < 3382 < beta.b
    assert beta.a < 4101 < beta.b
    # Makers' pick-ups: 550, 950 to 1250, 1630 to 2740 ohm cold, 2065 to 3225 ohm hot.
    coil = every("pick-up-biased").values["coil.ohm"]
    assert coil.a < 550
    assert coil.b > 3225
