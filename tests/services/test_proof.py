"""Minimum proof of each verdict, held to the trade's rules (common practice, no source)."""

from backprobe.services.proof import MINIMUM_PROOF, minimum_proof
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
