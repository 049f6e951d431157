"""The wheel holds all that the program needs: it works in a clean environment, off the checkout.

The environment gets the wheel and the closure of its declared dependencies, linked from the
development environment, so that the test needs no network and still fails where a dependency is
used but not declared.
"""

import json
import os
import shutil
import subprocess
import sys
import venv
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path
from zipfile import ZipFile

import pytest
from packaging.requirements import Requirement

from tests.project.source_tree import PACKAGE, ROOT

pytestmark = pytest.mark.slow

WINDOWS = sys.platform == "win32"


def closure(name: str) -> set[str]:
    """Names of all distributions that `name` asks for, directly or through another."""
    found: set[str] = set()
    open_names = [name]
    while open_names:
        for line in metadata.requires(open_names.pop()) or ():
            requirement = Requirement(line)
            wanted = requirement.marker is None or requirement.marker.evaluate({"extra": ""})
            if wanted and requirement.name not in found:
                found.add(requirement.name)
                open_names.append(requirement.name)
    return found


def link_distribution(name: str, site: Path) -> None:
    """Put each top-level file and folder of an installed distribution into another site folder."""
    distribution = metadata.distribution(name)
    tops = {file.parts[0] for file in distribution.files or () if file.parts[0] != ".."}
    for top in tops - {"__pycache__"}:
        source, target = Path(str(distribution.locate_file(top))), site / top
        if target.exists():
            continue
        if not WINDOWS:
            target.symlink_to(source)
        elif source.is_dir():
            shutil.copytree(source, target)
        else:
            shutil.copy(source, target)


@dataclass(frozen=True)
class Installed:
    """A clean environment with the wheel in it, and an empty folder to work in."""

    wheel: Path
    command: Path
    folder: Path

    def run(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        unwanted = ("PYTHON", "VIRTUAL_ENV", "XDG_", "BACKPROBE_")
        environment = {k: v for k, v in os.environ.items() if not k.startswith(unwanted)}
        home = str(self.folder / "home")
        return subprocess.run(
            [self.command, *arguments],
            cwd=self.folder,
            env=environment | {"HOME": home, "LOCALAPPDATA": home, "PYTHONUTF8": "1"},
            capture_output=True,
            text=True,
            encoding="utf-8",
            check=False,
        )


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Installed:
    folder = tmp_path_factory.mktemp("wheel")
    source = folder / "source"
    # A copy, so that nothing but what is listed here can end up in the wheel.
    shutil.copytree(PACKAGE, source / "src" / "backprobe", ignore=shutil.ignore_patterns("__py*"))
    for name in ("pyproject.toml", "README.md", "LICENSE"):
        shutil.copy(ROOT / name, source)
    build = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(folder)]
    subprocess.run(build, cwd=source, check=True, capture_output=True)
    (wheel,) = folder.glob("*.whl")

    place = folder / "environment"
    venv.create(place, symlinks=not WINDOWS, with_pip=False)
    scripts = place / ("Scripts" if WINDOWS else "bin")
    python = scripts / ("python.exe" if WINDOWS else "python")
    install = ["install", "--quiet", "--no-deps", "--no-index", "--no-compile", str(wheel)]
    subprocess.run([sys.executable, "-m", "pip", "--python", str(python), *install], check=True)
    (site,) = place.rglob("site-packages")
    for name in closure("backprobe"):
        link_distribution(name, site)
    (folder / "job").mkdir()
    return Installed(wheel, scripts / ("backprobe.exe" if WINDOWS else "backprobe"), folder / "job")


def test_the_wheel_holds_every_file_of_the_package(installed: Installed) -> None:
    expected = {
        path.relative_to(PACKAGE.parent).as_posix()
        for path in PACKAGE.rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }
    held = set(ZipFile(installed.wheel).namelist())
    assert expected <= held
    assert any(name.endswith(".toml") for name in held)
    assert any(name.endswith("licenses/LICENSE") for name in held)
    assert not {name for name in held if name.startswith(("tests/", "bench/"))}


def test_it_tells_its_version(installed: Installed) -> None:
    result = installed.run("--version")
    assert result.returncode == 0, result.stderr
    assert metadata.version("backprobe") in result.stdout


def test_it_lists_the_circuit_families(installed: Installed) -> None:
    result = installed.run("family", "list", "--json")
    assert result.returncode == 0, result.stderr
    listed = json.loads(result.stdout)
    shipped = {path.stem for path in (PACKAGE / "families" / "data").glob("*.toml")}
    assert {family["id"] for family in listed} == shipped
    assert len(shipped) > 20


def test_it_explains_an_example_copied_out(installed: Installed) -> None:
    example = min((ROOT / "examples").glob("*.toml"), key=lambda path: path.stat().st_size)
    shutil.copy(example, installed.folder)
    result = installed.run("explain", example.name, "--json")
    assert result.returncode == 0, result.stderr
    (answer,) = map(json.loads, result.stdout.splitlines())
    assert answer["file"] == example.name
    assert sum(fault["probability"] for fault in answer["faults"]) == pytest.approx(1, abs=0.02)
