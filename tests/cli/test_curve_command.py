"""`backprobe curve`."""

import json
from importlib import resources
from pathlib import Path

import pytest
from typer.testing import CliRunner

from backprobe.cli.curve_command import curve_app
from backprobe.errors import NotFoundError, UsageError


def run(*words: str, code: int = 0) -> str:
    result = CliRunner().invoke(curve_app, list(words), catch_exceptions=False)
    assert result.exit_code == code, result.output
    return result.stdout


def test_list() -> None:
    assert "ntc-2k5-at-20  " in run("list")
    listed = json.loads(run("list", "--json"))
    assert {"id", "title", "kind", "source"} == set(listed[0])


def test_show(tmp_path: Path) -> None:
    path = tmp_path / "curve.svg"
    shown = run("show", "ntc-2k5-at-20", "--pull-up", "2.2k", "--plot", str(path))
    assert "2.66 V" in shown
    assert "Source: published curve table" in shown
    assert path.read_text(encoding="utf-8").startswith("<svg")
    told = json.loads(run("show", "pt200", "--json"))
    assert told["columns"] == ["°C", "ohm"]


def test_convert() -> None:
    assert run("convert", "ntc-2k5-at-20", "2.41 V", "--pull-up", "2.2k").startswith("2.41 V means")
    assert json.loads(run("convert", "ntc-2k5-at-20", "-10 degC", "--json"))["unit"] == "ohm"
    with pytest.raises(NotFoundError, match='No curve is named "ntc"'):
        run("convert", "ntc", "2.41 V")
    with pytest.raises(UsageError, match="is no reading with a unit"):
        run("convert", "pt200", "500")


def test_fit() -> None:
    shown = run("fit", "-20 degC=4.38 V", "20 degC=2.66 V", "2.2k=2.50 V")
    assert "CURVES THAT REMAIN" in shown
    assert "EXCLUDED" in shown
    answer = json.loads(run("fit", "20 degC=2450 ohm", "80 degC=325 ohm", "--json"))
    assert answer["candidates"][0]["curve"] == "ntc-2k5-at-20"
    run("fit", "0 degC=3.64 V", "20 degC=3.9 V", "90 degC=0.50 V", "30 degC=1.0 V", code=1)


def test_check(tmp_path: Path) -> None:
    good = resources.files("backprobe.curves").joinpath("data", "pt100.toml").read_text("utf-8")
    path = tmp_path / "pt100.toml"
    path.write_text(good, encoding="utf-8")
    assert run("check", str(path)) == f"{path}: can be used. platinum, 100 ohm at 0 °C.\n"
    path.write_text(good.replace("138.51", "140.0"), encoding="utf-8")
    run("check", str(path), code=2)
    path.write_text(good, encoding="utf-8")
    assert "138.5" in run("convert", str(path), "100 degC")
