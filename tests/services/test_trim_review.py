"""What is said about fuel trims."""

import pytest

from backprobe.core.engine.trim_pattern import CAUSES, UNMODELLED
from backprobe.errors import UsageError
from backprobe.services.trim_log import table_from_log
from backprobe.services.trim_review import TrimReview, review_trims
from backprobe.services.trim_table import typed_table
from backprobe.services.trim_tests import TESTS, bits_of_tests, findings_likelihood
from backprobe.services.trim_words import CAUSE_WORDS
from tests.services.trim_logs import drive_log


def review(metering: str = "air mass", **trims: list[float]) -> TrimReview:
    return review_trims(
        typed_table({name.strip("_"): each for name, each in trims.items()}, metering)
    )


def test_sound_trims_are_said_to_be_sound() -> None:
    said = review(idle=[2.0], _2500=[-1.0], loaded=[1.0])
    assert said.causes[0].cause == "none"
    assert "nothing wrong" in said.verdict
    assert not said.fits_nothing


def test_an_intake_leak_is_named_with_its_reasons() -> None:
    said = review(idle=[22.0, 23.0], _2500=[5.0, 4.0], loaded=[1.0, 2.0])
    assert said.verdict.startswith("Something is wrong: air gets in behind the air-mass sensor")
    assert said.causes[0].expected[0].startswith("idle: bank 1 +2")
    assert "(read +22 %)" in said.causes[0].expected[0]
    assert [reason.decibans for reason in said.reasons] == sorted(
        (reason.decibans for reason in said.reasons), key=lambda each: -abs(each)
    )
    assert any("a dirty air-mass sensor" in line for line in said.ruled_out)


def test_one_reading_asks_for_another_point_first() -> None:
    said = review(idle=[22.0])
    assert "Most likely" in said.verdict
    assert said.next[0].name == "trims 2500"
    assert any("Engine running" in caution for caution in said.next[0].cautions)
    assert not any(test.name == "trims idle" for test in said.next)


def test_the_same_share_everywhere_asks_for_what_parts_fuel_from_air() -> None:
    said = review(idle=[12.0], _2500=[13.0], loaded=[14.0])
    asked = {test.name for test in said.next}
    assert asked & {"fuel pressure under load", "air at full load", "air-mass unplugged"}


def test_a_finding_moves_the_answer_and_is_not_asked_again() -> None:
    table = typed_table({"idle": [12.0], "2500": [13.0], "loaded": [14.0]}, "air mass")
    before, after = (
        review_trims(table, found) for found in ({}, {"fuel pressure under load": "low"})
    )
    assert after.shares["fuel-weak"] > max(0.8, before.shares["fuel-weak"])
    assert not any(test.name == "fuel pressure under load" for test in after.next)


@pytest.mark.parametrize(
    ("findings", "text"),
    [
        ({"fuel pressure": "low"}, r'is no test known here\. Did you mean "fuel pressure'),
        (
            {"intake smoke": "maybe"},
            r'"maybe" is no outcome of "intake smoke"\. It is one of: leak',
        ),
    ],
)
def test_an_unknown_finding_is_refused(findings: dict[str, str], text: str) -> None:
    with pytest.raises(UsageError, match=text):
        findings_likelihood(findings)


def test_trims_that_fit_nothing_are_said_so() -> None:
    said = review(idle=[0.0], _2500=[22.0], loaded=[-20.0])
    assert said.fits_nothing
    assert said.verdict.startswith("These trims fit nothing modelled here")
    assert said.fits.startswith("The nearest cause fits badly")


def test_manifold_pressure_brings_its_remark_and_no_test_of_an_air_meter() -> None:
    said = review("manifold pressure", idle=[15.0], _2500=[4.0])
    assert any("an intake leak hardly shows" in remark for remark in said.remarks)
    assert not any(test.name.startswith("air") for test in said.next)


def test_a_log_is_reviewed_like_a_table() -> None:
    said = review_trims(table_from_log(drive_log(second_bank=1.0), 2.0))
    assert said.causes[0].cause in {"bank-air", "exhaust-leak"}
    assert said.causes[0].bank == "bank 1"
    assert said.as_json()["format"] == 1


def test_every_cause_has_words_and_every_test_whole_rows() -> None:
    assert set(CAUSE_WORDS) == {*CAUSES, UNMODELLED}
    for test in TESTS:
        for cause, row in [("", test.usual), *test.given.items()]:
            assert cause in {"", *CAUSES}, test.name
            assert len(row) == len(test.outcomes)
            assert sum(row) == pytest.approx(1.0)
        assert test.cautions, test.name


def test_a_test_of_what_is_known_tells_nothing() -> None:
    from backprobe.core.engine.trim_inference import weigh_causes

    answer = weigh_causes(typed_table({"idle": [22.0]}, "air mass").readings())
    assert bits_of_tests(answer, ("purge",), TESTS) == pytest.approx([0.0] * len(TESTS), abs=1e-9)
    assert max(bits_of_tests(answer, tuple(answer.by_cause()), TESTS)) > 0.2
