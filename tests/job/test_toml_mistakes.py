import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.job.toml_mistakes import explain_toml_error

# What people type at a vehicle, and what they are told.
MISTAKES = [
    ("v = { 1 = 2,41 }", "A decimal comma can't stand in a bare number. Write a point, 2.41,"),
    ("a = 1,2", "A decimal comma can't stand"),
    ("v = { 1 = 12 mV }", 'A value with a unit has to stand in quotes. Write it as "12 mV"'),
    ("b = 12.58 V", "A value with a unit has to stand in quotes."),
    ("v = { 1 = 2.2 kΩ, 2 = 3 }", "A value with a unit has to stand in quotes."),
    ("a = 4k7", "A value with a unit has to stand in quotes."),
    ("t = Hesitates when cold", 'A text has to stand in quotes. Write it as "text"; what a meter'),
    ("v = { 1 = OL }", "A text has to stand in quotes."),
    ("b = ", "There is no value behind the equals sign. Fill it in, or put #"),
    ("v = { 1 = }", "There is no value behind the equals sign."),
    ("b =   # remark", "There is no value behind the equals sign."),
    ('p = "1', "A quote is missing: a text isn't closed."),
    ("a = 'it's'", "A quote is missing: a text isn't closed."),
    ('note = """\nabc', "A quote is missing: a text isn't closed."),
    ('c = "YE\\BK"', "A backslash in a text starts a code. Write it twice, or use a slash"),
    ("t = “x”", 'Typographic quotes can\'t be read. Use straight quotes: "text".'),
    ("plugged = True", "Yes and no are written true and false."),
    ("plugged = yes", "Yes and no are written true and false."),
    ("a = 0750", "A number can't start with a needless zero or a point, nor end with a point."),
    ("a = .5", "A number can't start with a needless zero or a point"),
    ("a = 5.", "A number can't start with a needless zero or a point"),
    ("opened = 2026-3-2", "A date is written year, month, day, the last two with two digits."),
    ("opened = 02.03.2026", "A date is written year, month, day"),
    ("v = { 1 = 5, 1 = 4 }", "A key or a pin is given twice. Keep one of the two"),
    ("a = 1\na = 2", "A key or a pin is given twice."),
    ("[job]\na = 1\n[job]", "[job] stands here a second time. Put its keys together"),
    (
        "[round]\n[round]",
        "[round] stands here a second time. There can be several: write [[round]]",
    ),
    ("[[round]]\n[round]", "write [[round]] with two brackets each time."),
    ("v = {\n1 = 5 }", "A list of readings in braces has to start and end on the same line."),
    ("v = { 1 = 5", "A list of readings in braces has to start and end on the same line."),
    ("v = { 1 = 5, }", "There is a comma behind the last reading. Take it out."),
    ("v = { 1 = 5 2 = 6 }", "Two readings have to be parted by a comma."),
    ("f = [ { a = 1 }", "A list in square brackets isn't closed. End it with ]."),
    ("[round", "The bracket of this heading isn't closed."),
    ("[[round]", "The bracket of this heading isn't closed."),
    ("title: x", "Key and value are joined with an equals sign."),
    ("hello", "This line has no equals sign. Write key = value, or put # before a remark."),
    ("a = 5;", "There is a semicolon at the end. Take it out."),
    ("a = " + "1" * 5000, "A number is far too long."),
    ("Ω = 5", "This can't be read. A line is a heading like [job], or a key and its value"),
]


def refusal_of(text: str) -> ValueError | None:
    try:
        tomllib.loads(text)
    except ValueError as error:
        return error
    return None


def explained(text: str) -> str:
    refusal = refusal_of(text)
    assert refusal is not None
    return str(explain_toml_error(refusal, text, "job.toml"))


@pytest.mark.parametrize(("text", "told"), MISTAKES)
def test_a_mistake_is_told_in_plain_words(text: str, told: str) -> None:
    assert told in explained(text)


@pytest.mark.parametrize(("text", "told"), MISTAKES)
def test_and_on_its_own_line_below_good_ones(text: str, told: str) -> None:
    message = explained(f'format = 1\nother = "x"\n{text}')
    last = 3 + text.count("\n")
    assert any(f"job.toml, line {line}: " in message for line in range(3, last + 1))
    assert told in message


def test_the_line_itself_is_shown_shortened() -> None:
    assert explained("b = 12.58 V").endswith("(The line: b = 12.58 V)")
    assert explained("b = 1 V" + " " * 10 + "x" * 500).endswith("x ...)")


@given(st.text(alphabet="ab1=.,-{}[]\"'#\\ \n", max_size=40))
def test_whatever_the_reader_refuses_is_explained_in_one_paragraph(text: str) -> None:
    refusal = refusal_of(text)
    told = explain_toml_error(refusal or ValueError("at line 1, column 1"), text, "job.toml")
    assert "\n" not in str(told)
    assert str(told).startswith("job.toml, line ")
    assert told.remedy
