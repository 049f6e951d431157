"""What a vehicle's number and a code say by themselves.

Sources: 49 CFR 565 (check digit, table VII for the years) with widely printed worked examples;
ISO 3780 regions and SAE J2012 groups from memory, the first seven groups as makers' texts quote
them.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.errors import ValueOutOfRange
from backprobe.services.identifiers import NO_PART, code_facts, vin_facts


def test_a_published_number() -> None:
    facts = vin_facts("1m8gdm9a xkp042788")
    assert (facts.maker, facts.description, facts.own) == ("1M8", "GDM9AX", "KP042788")
    assert facts.region == "North America"
    assert facts.check_digit == "right"
    assert facts.check_digit_words == "Check digit right: position 9 is X, as the others demand."
    # Table VII: K is 1989 and, thirty years on, 2019; position 7 is a digit: the first thirty.
    assert facts.model_years == (1989, 2019)
    assert facts.model_year_words == (
        "Model year 1989 or 2019 by position 10 (K); 1989 for a light vehicle, by position 7 (9)."
    )


def test_a_misread_number_is_told_with_the_right_digit() -> None:
    facts = vin_facts("1M8GDM9A0KP042788")
    assert facts.check_digit == "wrong"
    assert "position 9 is 0 and should be X" in facts.check_digit_words
    assert "read the number again" in facts.check_digit_words


def test_no_check_digit_where_none_is_prescribed() -> None:
    facts = vin_facts("WXYZZZ12ZAB123456")
    assert facts.check_digit == "not applicable"
    assert "No check digit is prescribed" in facts.check_digit_words
    assert facts.region == "Europe"
    assert facts.model_years == (1980, 2010)
    assert "isn't prescribed for this region" in facts.model_year_words


def test_a_year_that_has_not_come_yet_is_left_out() -> None:
    # 5 is 2005 and 2035 (table VII); the number is the sample of table V.
    assert vin_facts("1G4AH59H45G118341").model_years == (2005, 2035)
    facts = vin_facts("1G4AH59H45G118341", latest_year=2027)
    assert facts.model_years == (2005,)
    assert facts.model_year_words == "Model year 2005 by position 10 (5)."


def test_no_year_code() -> None:
    # U, Z and 0 are no year codes (table VII).
    assert "no model year" in vin_facts("1M8GDM9AXUP042788").model_year_words


@pytest.mark.parametrize(
    ("first", "region"),
    [
        ("A", "Africa"),
        ("H", "Africa"),
        ("J", "Asia"),
        ("R", "Asia"),
        ("S", "Europe"),
        ("Z", "Europe"),
        ("1", "North America"),
        ("5", "North America"),
        ("6", "Oceania"),
        ("7", "Oceania or North America"),
        ("8", "South America"),
        ("9", "South America"),
    ],
)
def test_regions(first: str, region: str) -> None:
    # ISO 3780 (from memory); 0 was added to South America later.
    assert vin_facts(first + "M8GDM9AXKP042788").region == region


@given(st.text(alphabet="0123456789ABCDEFGHJKLMNPRSTUVWXYZ", min_size=17, max_size=17))
def test_every_number_has_facts_in_whole_sentences(vin: str) -> None:
    facts = vin_facts(vin)
    assert facts.maker + facts.description + facts.own == vin
    assert facts.region
    assert facts.check_digit_words.endswith(".")
    assert facts.model_year_words.endswith(".")


def test_what_is_no_number_is_refused() -> None:
    with pytest.raises(ValueOutOfRange, match="has 3"):
        vin_facts("ABC")


def test_a_standard_powertrain_code() -> None:
    facts = code_facts("p0113")
    assert (facts.code, facts.system, facts.defined_by) == ("P0113", "powertrain", "standard")
    assert facts.group == "fuel and air metering"
    assert facts.failure_type == ""
    assert "from memory" in facts.words
    assert NO_PART in facts.words


@pytest.mark.parametrize(
    ("code", "group"),
    [
        ("P0201", "fuel and air metering, injectors"),
        ("P0300", "ignition or misfire"),
        ("P0420", "auxiliary emission controls"),
        ("P0500", "vehicle speed, idle control, auxiliary inputs"),
        ("P0601", "control unit and its outputs"),
        ("P0700", "transmission"),
    ],
)
def test_groups_as_makers_quote_them(code: str, group: str) -> None:
    assert code_facts(code).group == group


@pytest.mark.parametrize("code", ["P1113", "P3100", "C1035", "B2100", "U1155"])
def test_a_makers_code_has_no_group_and_is_looked_up(code: str) -> None:
    facts = code_facts(code)
    assert facts.defined_by == "maker"
    assert facts.group == ""
    assert "look it up for this vehicle" in facts.words


@pytest.mark.parametrize(
    ("code", "words"),
    [
        ("P0113-13", "circuit open"),
        ("P0113-1C", "circuit voltage out of range"),
        ("P0113-29", "29, of the group: signal"),
        ("P0113-F0", "F0, not defined"),
    ],
)
def test_failure_type(code: str, words: str) -> None:
    # SAE J2012-DA (from memory).
    facts = code_facts(code)
    assert facts.failure_type == words
    assert f"Failure type: {words}" in facts.words


@given(st.from_regex(r"[PCBU][0-3][0-9A-F]{3}(-[0-9A-F]{2})?", fullmatch=True))
def test_no_code_is_told_as_a_part(code: str) -> None:
    if code.startswith("P0000"):
        return
    facts = code_facts(code)
    assert NO_PART in facts.words
    assert "replace" not in facts.words
