"""`backprobe capture`: measured in words, as JSON, drawn, written, kept with a job."""

import json
from pathlib import Path
from xml.etree import ElementTree

import pytest
from typer.testing import CliRunner

from backprobe.cli.main import app
from backprobe.errors import BackprobeError
from backprobe.store.engine import Store
from backprobe.store.upgrade import upgrade
from tests.services.captured import HALL_HIGH, HALL_LOW, begun, hall, write_csv

RUN = CliRunner()


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return write_csv(tmp_path / "hall.csv", {"signal [x] (V)": hall(20_000)})


def test_it_says_what_the_signal_is(file: Path) -> None:
    result = RUN.invoke(app, ["capture", str(file)])
    assert result.exit_code == 0
    assert "signal [x]" in result.output
    assert "high for 40 % of the time" in " ".join(result.output.split())


def test_as_json_and_drawn(file: Path, tmp_path: Path) -> None:
    plot = tmp_path / "out.svg"
    result = RUN.invoke(app, ["capture", str(file), "--json", "--plot", str(plot)])
    told = json.loads(result.output)
    (channel,) = told["channels"]
    assert told["samples"] == 20_000
    measured = {row["quantity"]: row for row in channel["measured"]}
    assert measured["state_level_high"]["value"] == pytest.approx(HALL_HIGH, abs=0.005)
    assert measured["state_level_low"]["value"] == pytest.approx(HALL_LOW, abs=0.005)
    assert channel["readings"]["hertz"]["value"] == pytest.approx(500.0, rel=1e-3)
    # Our own drawing, no stranger's.
    assert ElementTree.parse(plot).getroot().tag.endswith("svg")  # noqa: S314


@pytest.mark.parametrize("ending", ["parquet", "mf4"])
def test_written_in_another_format_it_is_the_same(file: Path, tmp_path: Path, ending: str) -> None:
    copy = tmp_path / f"copy.{ending}"
    assert RUN.invoke(app, ["capture", str(file), "--write", str(copy)]).exit_code == 0
    first, second = (
        json.loads(RUN.invoke(app, ["capture", str(each), "--json"]).output)["channels"][0]
        for each in (file, copy)
    )
    assert first["readings"] == second["readings"]


def test_a_mapping_is_written_corrected_and_used(file: Path, tmp_path: Path) -> None:
    mapping = tmp_path / "columns.toml"
    RUN.invoke(app, ["capture", str(file), "--save-mapping", str(mapping)])
    text = mapping.read_text(encoding="utf-8")
    mapping.write_text(text.replace("scale = 1.0", "scale = 2.0"), encoding="utf-8")
    if "scale" not in text:
        pytest.fail("a mapping tells the scale of each column")
    result = RUN.invoke(app, ["capture", str(file), "--mapping", str(mapping), "--json"])
    assert result.exit_code == 0


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["--signal", "1=magic"], "names no channel and signal"),
        (["--interval", "soon"], "is no time between samples"),
        (["--from", "5", "--to", "6"], "there is nothing"),
        (["--write", "x.xls"], "no ending that is known"),
        (["--error", "90"], "An error of 90 per cent can't be"),
    ],
)
def test_what_can_not_be_asked_is_told(file: Path, arguments: list[str], told: str) -> None:
    result = RUN.invoke(app, ["capture", str(file), *arguments])
    assert isinstance(result.exception, BackprobeError)
    assert told in str(result.exception)


def test_it_is_kept_with_a_job(file: Path, tmp_path: Path) -> None:
    database = tmp_path / "jobs.sqlite3"
    store = Store(str(database))
    upgrade(store)
    kept = begun(store)
    arguments = ["--job", kept.job, "--round", "A", "--terminal", "3"]
    result = RUN.invoke(
        app, ["capture", str(file), *arguments, "--database", str(database), "--json"]
    )
    key = json.loads(result.output)["recording"]
    found = kept.recordings.recording(key)
    assert (found.round, found.told.channels[0].place) == (kept.round, "3")
    store.close()
