import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.errors import RecordingError
from backprobe.recordings.log_mapping import (
    LogMapping,
    MappedSeries,
    guess_mapping_of,
    mapping_from_toml,
    mapping_to_toml,
    meaning_of,
)

_names = st.text(min_size=1, max_size=20)
_mapped = st.builds(
    MappedSeries,
    _names,
    st.sampled_from(["", "air mass flow", "manifold pressure volts"]),
    st.just(""),
    is_kept=st.booleans(),
)


@given(st.lists(_mapped, max_size=5).map(tuple), st.sampled_from(["", "s", "ms"]))
def test_a_mapping_comes_back_from_its_text(
    series: tuple[MappedSeries, ...], time_unit: str
) -> None:
    mapping = LogMapping(series, time_unit)
    assert mapping_from_toml(mapping_to_toml(mapping)) == mapping


def test_a_guess_is_written_down() -> None:
    mapping = guess_mapping_of([("MAF", "kg/h"), ("Odometer", "km"), ("ECT", "")])
    assert mapping.series == (
        MappedSeries("MAF", "air mass flow", "kg/h"),
        MappedSeries("Odometer", "", "km"),
        MappedSeries("ECT", "coolant temperature", "degC"),
    )


def test_what_a_person_says_goes_before_the_name() -> None:
    said = MappedSeries("Sensor 3", "coolant temperature", "°F")
    meaning = meaning_of("Sensor 3", "", said)
    assert (meaning.quantity, meaning.unit) == ("coolant temperature", "degC")
    assert 212.0 * meaning.factor + meaning.offset == pytest.approx(100.0)
    assert meaning_of("MAF", "g/s", MappedSeries("MAF", "")).quantity == ""


def test_a_unit_that_is_not_known_is_told() -> None:
    meaning = meaning_of("MAF", "bushel")
    assert meaning.quantity == ""
    assert "isn't known" in meaning.remark


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("x = ", "This isn't TOML"),
        ("colour = 1", '"colour" isn\'t a key here. The keys are series, time_unit'),
        ('time_unit = "kPa"', '"kPa" isn\'t a unit of time. Write s, ms or min'),
        ("series = [1]", "m, series 1: This isn't a table"),
        ("[[series]]\nunit = 'V'", "m, series 1: name is missing"),
        ("[[series]]\nname = 'a'\nkept = 1", "kept can't be 1"),
        ("[[series]]\nname = 'a'\nquantity = 'boost'", '"boost" isn\'t a known quantity'),
        (
            "[[series]]\nname = 'a'\nquantity = 'air mass flow'\nunit = 'kPa'",
            'air mass flow can\'t be in "kPa". It is converted to g/s',
        ),
    ],
)
def test_mistakes_are_told(text: str, told: str) -> None:
    with pytest.raises(RecordingError) as caught:
        mapping_from_toml(text, "m")
    assert told in str(caught.value)
