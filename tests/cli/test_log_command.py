import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from backprobe.cli.main import app
from backprobe.errors import UsageError


def run(*words: str) -> str:
    result = CliRunner().invoke(app, ["log", *words], catch_exceptions=False)
    assert result.exit_code == 0, result.output
    return result.stdout


@pytest.fixture
def path(tmp_path: Path) -> Path:
    found = tmp_path / "log.csv"
    rows = [f"{n * 0.2:.1f},{800 + n % 3},{3.1 + n % 2 / 10:.1f},-40,{n}" for n in range(60)]
    head = "Time (s),Engine RPM (rpm),MAF (g/s),IAT (°C),Odd"
    found.write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
    return found


def test_a_log_in_words(path: Path) -> None:
    text = run(str(path))
    assert "air mass flow" in text
    assert "0.2 s" in text
    assert "stands at -40 °C" in text
    assert "idle: 0.0 to 11.8 s" in text


def test_a_log_as_json(path: Path) -> None:
    answer = json.loads(run(str(path), "--json"))
    assert answer["format"] == 1
    assert [one["quantity"] for one in answer["series"]] == [
        "engine speed",
        "air mass flow",
        "intake air temperature",
        "",
    ]
    assert answer["series"][0]["interval"] == pytest.approx(0.2)
    assert answer["suspicions"][0]["sureness"] == "likely"
    assert "values" not in answer


def test_values_at_an_instant_and_over_a_span(path: Path) -> None:
    answer = json.loads(run(str(path), "--at", "0.45", "--json"))
    assert answer["scan"]["engine speed"].startswith("802")
    answer = json.loads(run(str(path), "--from", "0", "--to", "10", "--json"))
    assert answer["values"][1]["n_value"] == 51
    text = run(str(path), "--from", "0", "--to", "10")
    assert 'scan."air mass flow" = "3.1' in text


def test_a_mapping_is_saved_corrected_and_used(path: Path) -> None:
    mapping = path.with_name("mapping.toml")
    run(str(path), "--save-mapping", str(mapping))
    text = mapping.read_text(encoding="utf-8")
    named = text.replace(
        'name = "Odd"\nquantity = ""\nunit = ""',
        'name = "Odd"\nquantity = "vehicle speed"\nunit = "mph"',
    )
    assert named != text
    mapping.write_text(named, encoding="utf-8")
    answer = json.loads(run(str(path), "--mapping", str(mapping), "--json"))
    odd = answer["series"][3]
    assert (odd["quantity"], odd["unit"]) == ("vehicle speed", "km/h")
    assert odd["high"] == pytest.approx(59 * 1.609344)


def test_a_picture_is_drawn(path: Path) -> None:
    picture = path.with_suffix(".svg")
    run(str(path), "--plot", str(picture))
    assert picture.read_text(encoding="utf-8").startswith("<svg")


def test_what_cannot_be_done_is_told(path: Path, tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="belong together"):
        run(str(path), "--from", "1")
    with pytest.raises(UsageError, match=r"Name a file ending \.svg"):
        run(str(path), "--plot", str(tmp_path / "log.png"))
    with pytest.raises(UsageError, match="The mapping can't be read"):
        run(str(path), "--mapping", str(tmp_path / "none.toml"))
    with pytest.raises(UsageError, match="This file can't be written"):
        run(str(path), "--save-mapping", str(tmp_path / "none" / "m.toml"))
