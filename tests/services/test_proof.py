"""Minimum proof of each verdict, held to the trade's rules (common practice, no source)."""

import re

import pytest

from backprobe.services.proof import MINIMUM_PROOF, minimum_proof, proof_steps
from backprobe.vocabulary import FAULT_KINDS, NO_FAULT


def test_every_kind_of_fault_has_its_proof() -> None:
    assert set(MINIMUM_PROOF) == {NO_FAULT, *FAULT_KINDS}


def test_control_unit_is_named_last() -> None:
    text = minimum_proof("control-unit-input:signal-thermistor")
    for condition in ("last", "supply and ground", "under load", "isolated", "still wrong"):
        assert condition in text


def test_a_wire_is_proven_by_a_bypass_and_a_rail_at_its_source() -> None:
    assert "temporary wire" in minimum_proof("resistance:sensor-ground")
    assert "at its source" in minimum_proof("ground-lifted:sensor-ground")
    assert "second sensor" in minimum_proof("supply-low:supply-regulated")


def test_a_sensor_is_condemned_only_by_substitution_both_ways() -> None:
    text = minimum_proof("sensor-drift:signal-analogue")
    assert "in the sensor's place" in text
    assert "known to be good" in text


def test_unknown_fault_gets_no_invented_proof() -> None:
    assert minimum_proof("gremlin:motor") == ""


@pytest.mark.parametrize("kind", MINIMUM_PROOF)
def test_the_steps_are_the_whole_proof_in_single_sentences(kind: str) -> None:
    def words(text: str) -> list[str]:
        return [w for w in re.findall(r"[a-z']+", text.lower()) if w != "and"]

    steps = proof_steps(f"{kind}:sensor-ground" if kind != NO_FAULT else kind)
    whole = minimum_proof(f"{kind}:sensor-ground").removeprefix("The control unit is named last: ")
    assert words(" ".join(steps)) == words(whole)
    assert len(steps) >= (1 if kind == "swapped" else 2)
    assert all(step[0].isupper() and step.endswith(".") for step in steps)


def test_a_control_unit_needs_three_things_seen() -> None:
    # The order of the trade: supply and ground, the pin by itself, and still wrong (common
    # practice, no source).
    assert proof_steps("control-unit-input:signal-analogue") == (
        "Its supply and ground hold under load.",
        "The wire is isolated at the control unit's pin.",
        "The pin is still wrong.",
    )
    assert proof_steps("what nobody knows") == ()
