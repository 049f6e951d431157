from hypothesis import given
from hypothesis import strategies as st

from backprobe.vocabulary import (
    FAULT_KINDS,
    ROLE_MEANING,
    ROLES,
    SCAN_NAMES,
    SCAN_UNITS,
    fault_name,
    split_fault,
)


def test_there_are_fourteen_roles_each_with_its_meaning() -> None:
    # The table of roles in the description of the job file has fourteen rows.
    assert len(ROLES) == 14
    assert ROLES[0] == "supply-regulated"
    assert ROLES[-1] == "not-used"
    assert all(ROLE_MEANING[role] for role in ROLES)


@given(st.sampled_from(FAULT_KINDS), st.sampled_from(ROLES))
def test_a_fault_name_splits_into_what_it_was_made_of(kind: str, role: str) -> None:
    assert split_fault(fault_name(kind, role)) == (kind, role)


def test_no_fault_has_no_role() -> None:
    assert fault_name("none", "motor") == "none"
    assert split_fault("none") == ("none", "")
    assert split_fault("swapped:motor+shield") == ("swapped", "motor+shield")


def test_every_scan_name_has_a_unit_and_two_names_for_the_input() -> None:
    assert len(SCAN_NAMES) == 3 * 7
    assert SCAN_UNITS["intake air temperature"] == "celsius"
    assert SCAN_UNITS["intake air temperature volts"] == "volt"
    assert SCAN_UNITS["air mass flow hertz"] == "hertz"
