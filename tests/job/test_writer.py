import tomllib

from hypothesis import given, settings
from hypothesis import strategies as st

from backprobe.job import Connector, Indication, Job, Round, Terminal, parse_job, write_job
from backprobe.job.writer import number, text
from tests.job.job_strategies import jobs


@given(jobs())
@settings(max_examples=60)
def test_a_written_job_reads_back_as_the_same_job(job: Job) -> None:
    assert parse_job(write_job(job), "job.toml") == job


@given(jobs())
@settings(max_examples=20)
def test_writing_what_was_read_changes_nothing(job: Job) -> None:
    written = write_job(job)
    assert write_job(parse_job(written, "job.toml")) == written


@given(st.text(st.characters(exclude_categories=["Cs"])))
def test_any_text_is_quoted_so_that_the_standard_reader_returns_it(value: str) -> None:
    # The standard library's reader is the oracle; it takes a bare carriage return for no text.
    assert tomllib.loads(f"key = {text(value)}") == {"key": value}


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_any_number_is_written_exactly(value: float) -> None:
    assert float(tomllib.loads(f"key = {number(value)}")["key"]) == value


def test_written_digits_are_kept_and_several_lines_stay_several() -> None:
    job = Job(
        title="Hesitates",
        connector=Connector("intake", terminals=(Terminal("1", "YE/BK"), Terminal("2"))),
        rounds=(
            Round(
                "A",
                plugged=False,
                key="on",
                volts={"1": Indication(5.0, written="5.00"), "2": Indication(0.012)},
                sensor_ohms={("1", "2"): Indication(float("inf"), over_range=True)},
                note="first\nsecond",
            ),
        ),
    )
    written = write_job(job)
    assert 'volts = { 1 = "5.00", 2 = 0.012 }' in written
    assert 'sensor_ohms = { 1-2 = "OL" }' in written
    assert 'note = """\nfirst\nsecond"""' in written
    assert 'colour = "YE/BK"' in written
    assert parse_job(written, "job.toml") == job
