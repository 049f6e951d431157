import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.errors import ValueOutOfRange
from backprobe.standards.wire_colour import (
    WORDS,
    colour_from_words,
    colour_letters,
    colour_words,
)

# The fourteen colours of IEC 60757 table 1, spelled out here a second time on purpose.
IEC_60757 = (
    "BK black, BN brown, RD red, OG orange, YE yellow, GN green, BU blue, VT violet,"
    " GY grey, WH white, PK pink, GD gold, TQ turquoise, SR silver"
)


def test_letters_and_words_of_the_standard() -> None:
    assert ", ".join(f"{letters} {word}" for letters, word in WORDS.items()) == IEC_60757


@pytest.mark.parametrize(
    ("text", "letters", "words"),
    [
        ("YE/BK", ("YE", "BK"), "yellow with black"),
        ("YEBK", ("YE", "BK"), "yellow with black"),
        ("ye/bk", ("YE", "BK"), "yellow with black"),
        ("RDBU", ("RD", "BU"), "red with blue"),  # the standard's own example
        ("RD BU", ("RD", "BU"), "red with blue"),
        ("GN", ("GN",), "green"),
        ("GNYE", ("GNYE",), "green and yellow"),
        ("GN/YE", ("GN", "YE"), "green with yellow"),
        ("WH/RD/BK", ("WH", "RD", "BK"), "white with red with black"),
        ("", (), ""),
    ],
)
def test_colours_are_split_and_said(text: str, letters: tuple[str, ...], words: str) -> None:
    assert colour_letters(text) == letters
    assert colour_words(text) == words


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            "yellow/black",
            '"yellow/black" isn\'t a wire colour in the letters of IEC 60757. Write "YE/BK".',
        ),
        ("gray", 'Write "GY".'),
        ("YX", "Nearest to it is YE (yellow). The letters are BK black, BN brown"),
        ("Y", "isn't a wire colour"),
        ("YE/", "isn't a wire colour"),
        ("YEB", "isn't a wire colour"),
        ("BK/BN/RD/OG", "has 4 colours; a wire has at most 3."),
    ],
)
def test_what_is_no_colour_is_refused_with_the_nearest(text: str, message: str) -> None:
    with pytest.raises(ValueOutOfRange) as caught:
        colour_letters(text)
    assert message in str(caught.value)


@pytest.mark.parametrize(
    ("words", "letters"),
    [("yellow", "YE"), ("Yellow/Black", "YE/BK"), ("yellow with black stripe", "YE/BK")],
)
def test_words_become_letters(words: str, letters: str) -> None:
    assert colour_from_words(words) == letters


def test_unknown_words_are_refused() -> None:
    with pytest.raises(ValueOutOfRange, match=r"isn't a wire colour\. Known are black, brown"):
        colour_from_words("sunset")


@given(st.lists(st.sampled_from(list(WORDS)), min_size=1, max_size=3))
def test_letters_survive_being_said_in_words(letters: list[str]) -> None:
    text = "/".join(letters)
    assert colour_from_words(colour_words(text)) == text


@given(st.text(max_size=20))
def test_any_text_is_either_a_colour_or_refused(text: str) -> None:
    try:
        letters = colour_letters(text)
    except ValueOutOfRange:
        return
    assert all(pair in WORDS or pair == "GNYE" for pair in letters)
