"""A mapping as TOML: what is written is read; what can't be is said."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.errors import RecordingError
from backprobe.recordings.delimited_mapping import (
    COMMENTS,
    ENCODINGS,
    SEPARATORS,
    ColumnMapping,
    MappedColumn,
    from_toml,
    to_toml,
)

SCALES = st.floats(1e-12, 1e12)
COLUMNS = st.builds(
    MappedColumn,
    name=st.text(max_size=20).filter(lambda text: "\ud800" not in text),
    unit=st.sampled_from(["V", "", "°C", 'a"b\\', "\x7f\x00"]),
    scale=SCALES,
    is_kept=st.booleans(),
)


@given(
    st.builds(
        ColumnMapping,
        separator=st.sampled_from(list(SEPARATORS)),
        decimal=st.sampled_from([".", ","]),
        columns=st.lists(COLUMNS, min_size=1, max_size=4).map(tuple),
        thousands=st.sampled_from(["", " ", "'"]),
        encoding=st.sampled_from(ENCODINGS),
        skip_lines=st.integers(0, 1000),
        comment=st.sampled_from(COMMENTS),
        time_column=st.one_of(st.none(), st.just(1)),
        interval=st.one_of(st.none(), st.floats(1e-12, 1e6)),
        start=st.floats(-1e6, 1e6),
    )
)
def test_mapping_survives_its_text(mapping: ColumnMapping) -> None:
    again = from_toml(to_toml(mapping))
    assert again == mapping
    assert to_toml(again) == to_toml(mapping)


GOOD = to_toml(
    ColumnMapping(",", ".", (MappedColumn("t", "s"), MappedColumn("u", "V")), time_column=1)
)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (
            'decimal = "."',
            "",
            "my.toml: decimal is missing. Add it; to_toml of a guess shows how.",
        ),
        (
            'separator = ","',
            'separator = ":"',
            ('my.toml: separator can\'t be ":". Possible are ",", ";", "\\t", " ", "|".'),
        ),
        (
            "skip_lines = 0",
            "skip_lines = true",
            "my.toml: skip_lines has to be a whole number. Correct it.",
        ),
        (
            "skip_lines = 0",
            "skiplines = 0",
            (
                'my.toml: "skiplines" isn\'t a key of the description.'
                " The keys are separator, decimal, thousands, encoding, skip_lines, comment,"
                " time_column, time_format, interval, start,"
                " column."
            ),
        ),
        (
            "time_column = 1",
            "time_column = 3",
            (
                "my.toml: time_column is 3, but there are 2 columns."
                " Columns are counted from one;"
                " leave time_column out where no column holds the time."
            ),
        ),
        (
            'unit = "V"\nscale = 1.0',
            'unit = "V"\nscale = 0',
            (
                "my.toml: The scale of column 2 is 0."
                " Write what its numbers are multiplied with, such as 0.001 for millivolts."
            ),
        ),
        (
            'unit = "V"',
            "unit = 1",
            "my.toml, column 2: unit has to be a text in quotes. Correct it.",
        ),
        (
            'thousands = ""',
            'thousands = "."',
            (
                "my.toml: Decimal mark and thousands mark are the same."
                ' Set thousands = "" or another.'
            ),
        ),
    ],
)
def test_mistakes_are_told(old: str, new: str, said: str) -> None:
    assert old in GOOD
    with pytest.raises(RecordingError) as caught:
        from_toml(GOOD.replace(old, new), "my.toml")
    assert str(caught.value) == said


@given(st.text(max_size=80))
def test_any_text_is_a_mapping_or_refused(text: str) -> None:
    with pytest.raises(RecordingError):
        from_toml(text)


def test_interval_above_zero() -> None:
    with pytest.raises(RecordingError) as caught:
        ColumnMapping(",", ".", (MappedColumn("u"),), interval=-1.0)
    assert str(caught.value) == (
        "columns of the text: An interval of -1 s can't be. Give the seconds between two samples."
    )
