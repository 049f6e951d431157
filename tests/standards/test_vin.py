import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.errors import ValueOutOfRange
from backprobe.standards.vin import (
    check_digit,
    check_digit_verdict,
    model_years,
    region,
    require_vin,
    sections,
    weighted_sum,
)

ALPHABET = "0123456789ABCDEFGHJKLMNPRSTUVWXYZ"
VINS = st.text(alphabet=ALPHABET, min_size=17, max_size=17)

# Sums and digits: the sample calculation of 49 CFR 565 table V; the example of the outline for new
# manufacturers; widely printed worked examples; the last is trivial: the weights add up to 89.
WORKED = [
    ("1G4AH59H?5G118341", 411, "4"),
    ("1J9RP1A3?A1644345", 314, "6"),
    ("1M8GDM9A?KP042788", 351, "X"),
    ("JH2RC360?MM101581", 280, "5"),
    ("1FACP45E?LF192944", 373, "X"),
    ("LJCPCBLC?11000237", 186, "X"),
    ("11111111?11111111", 89, "1"),
]


@pytest.mark.parametrize(("pattern", "total", "digit"), WORKED)
def test_check_digit_of_published_examples(pattern: str, total: int, digit: str) -> None:
    vin = pattern.replace("?", digit)
    assert weighted_sum(vin) == total
    assert check_digit(vin) == digit
    assert check_digit_verdict(vin) == "right"


def test_the_products_of_the_official_sample() -> None:
    # 49 CFR 565 table V prints each product; alone among zeros a character shows its own.
    vin = "1G4AH59H?5G118341".replace("?", "4")
    products = [8, 49, 24, 5, 32, 15, 18, 80, 0, 45, 56, 7, 6, 40, 12, 12, 2]
    alone = ["0" * i + vin[i] + "0" * (16 - i) for i in range(17)]
    assert [weighted_sum(one) for one in alone] == products


def test_zero_is_wrong_where_the_letter_x_belongs() -> None:
    assert check_digit_verdict("1M8GDM9A0KP042788") == "wrong"


def test_a_european_number_is_never_called_wrong() -> None:
    # ISO 3779 doesn't prescribe a check digit; fillers Z are usual (from memory).
    assert check_digit_verdict("WXYZZZ12ZAB123456") == "not applicable"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("1G4AH59H45G11834", "A VIN has 17 characters, this one has 16. Read it again"),
        ("1G4AH59H45G1183411", "this one has 18."),
        ("IG4AH59H45G118341", "A VIN has no letter I (position 1). It is most likely the digit 1"),
        ("1G4AH59H45G11834O", "A VIN has no letter O (position 17). It is most likely the digit 0"),
        ("1G4AQ59H45G118341", "no letter Q (position 5)"),
        ("1G4AH59H*5G118341", 'not "*" (position 9)'),
        ("1G4AH59Hé5G118341", "only letters and digits"),
    ],
)
def test_what_is_no_vin_is_refused_with_the_position(text: str, message: str) -> None:
    with pytest.raises(ValueOutOfRange) as caught:
        require_vin(text)
    assert message in str(caught.value)


def test_blanks_and_small_letters_are_put_right() -> None:
    assert require_vin(" 1g4ah59h4 5g118341 ") == "1G4AH59H45G118341"


@pytest.mark.parametrize(
    ("vin", "is_light", "years"),
    [
        ("1FACP45EXLF192944", True, (1990,)),  # position 7 is a digit
        ("1G4AH59H45G118341", True, (2005,)),
        ("1M8GDM9AXKP042788", False, (1989, 2019)),  # a coach keeps both
        ("1M8GDM9AXKP042788", True, (1989,)),
        ("1M8GDMAAXKP042788", True, (2019,)),
        ("1M8GDM9AXUP042788", True, ()),  # U, Z and 0 are no year codes (from memory)
        ("1M8GDM9AXZP042788", True, ()),
        ("1M8GDM9AX0P042788", True, ()),
    ],
)
def test_model_year(vin: str, is_light: bool, years: tuple[int, ...]) -> None:
    # Footnote to 49 CFR 565 table VII (2008 final rule).
    assert model_years(vin, is_light=is_light) == years


@pytest.mark.parametrize(
    ("code", "year"),
    [
        ("A", 1980),
        ("H", 1987),
        ("J", 1988),
        ("N", 1992),
        ("P", 1993),
        ("R", 1994),
        ("T", 1996),
        ("V", 1997),
        ("W", 1998),
        ("Y", 2000),
        ("1", 2001),
        ("9", 2009),
    ],
)
def test_year_codes_of_table_vii(code: str, year: int) -> None:
    vin = f"1M8GDM9AX{code}P042788"
    assert model_years(vin, is_light=False) == (year, year + 30)


@given(VINS)
def test_every_number_has_one_right_check_digit(vin: str) -> None:
    right = [d for d in "0123456789X" if check_digit_verdict(vin[:8] + d + vin[9:]) == "right"]
    assert right == [check_digit(vin)]


@given(VINS)
def test_the_sections_make_up_the_number(vin: str) -> None:
    assert require_vin(vin) == vin
    assert "".join(sections(vin)) == vin
    assert [len(part) for part in sections(vin)] == [3, 6, 8]


@given(VINS, st.integers(min_value=0, max_value=9), st.integers(min_value=0, max_value=16))
def test_one_misread_digit_is_always_noticed(vin: str, digit: int, position: int) -> None:
    """The modulus is prime, so a changed digit changes the sum unless its weight is zero."""
    original = vin[:position] + "1" + vin[position + 1 :]
    changed = vin[:position] + str(digit) + vin[position + 1 :]
    is_same = check_digit(original) == check_digit(changed)
    assert is_same == (position == 8 or digit == 1)


def test_every_first_character_has_its_region() -> None:
    # ISO 3780 (from memory): A to H Africa, J to R Asia, S to Z Europe, 1 to 5 North America.
    named = {c: region(c + "M8GDM9AXKP042788") for c in ALPHABET}
    assert [named[c] for c in "AHJRSZ15689"] == [
        *("Africa", "Africa", "Asia", "Asia", "Europe", "Europe"),
        *("North America", "North America", "Oceania", "South America", "South America"),
    ]
    assert all(named.values())
