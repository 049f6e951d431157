"""Imports point one way, down; `core` knows arrays and nothing of the world around it."""

import ast
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tests.project.source_tree import PACKAGE, ROOT

# What `core` may use besides numpy and scipy: the language's own tools for values and types.
# No clock, no files, no processes, no chance of its own (random numbers come in as a Generator).
CORE_MAY_USE = {
    "__future__",
    "abc",
    "collections",
    "dataclasses",
    "enum",
    "functools",
    "itertools",
    "math",
    "operator",
    "types",
    "typing",
    "numpy",
    "scipy",
    "backprobe",
}


def linted(folder: Path) -> subprocess.CompletedProcess[str]:
    command = shutil.which("lint-imports", path=Path(sys.executable).parent)
    assert command
    return subprocess.run(
        [command, "--no-cache", "--no-logo"],
        cwd=folder,
        env=os.environ | {"PYTHONPATH": str(folder / "src")},
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
    )


def test_imports_point_down() -> None:
    result = linted(ROOT)
    assert result.returncode == 0, result.stdout + result.stderr
    assert "0 broken" in result.stdout


@pytest.mark.parametrize(
    ("module", "line", "broken"),
    [
        ("core/upward.py", "def f() -> None:\n    import backprobe.services\n", "core"),
        ("job/sideways.py", "import backprobe.core\n", "job"),
        ("errors.py", "import backprobe.vocabulary\n", "errors"),
        ("core/drawing.py", "import rich\n", "core"),
    ],
)
def test_an_upward_import_is_found(tmp_path: Path, module: str, line: str, broken: str) -> None:
    """The check above can fail: also for an import inside a function."""
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    shutil.copytree(PACKAGE, tmp_path / "src" / "backprobe")
    (tmp_path / "src" / "backprobe" / module).write_text(line, encoding="utf-8")
    result = linted(tmp_path)
    assert result.returncode == 1, result.stdout + result.stderr
    assert f"backprobe.{broken}" in result.stdout


def imported_roots(source: str) -> set[str]:
    """First parts of the names of all modules that a source text imports, also in functions."""
    roots: set[str] = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            roots |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            roots.add(node.module.split(".")[0])
    return roots


def test_core_knows_numpy_scipy_and_plain_values_only() -> None:
    files = sorted((PACKAGE / "core").rglob("*.py"))
    assert files
    strangers = {
        path.relative_to(ROOT).as_posix(): sorted(unknown)
        for path in files
        if (unknown := imported_roots(path.read_text(encoding="utf-8")) - CORE_MAY_USE)
    }
    assert strangers == {}
