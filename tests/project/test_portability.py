"""Workshop laptops run Windows: nothing in the package may need a POSIX system."""

import ast
import os
import subprocess
import sys

import pytest

from tests.project.source_tree import PACKAGE, ROOT, python_files

# Modules of the standard library marked "Availability: Unix" in the Python documentation.
POSIX_MODULES = ("fcntl", "grp", "posix", "pty", "pwd", "resource", "syslog", "termios", "tty")
# Functions of `os` marked "Availability: Unix" or "not Windows" there, as far as one is tempted.
POSIX_FUNCTIONS = {
    "chown", "fork", "forkpty", "geteuid", "getgid", "getloadavg", "getpgid", "getuid", "killpg",
    "mkfifo", "nice", "sched_getaffinity", "setsid", "sysconf", "uname", "wait",
}  # fmt: skip

# Run, not imported: the program's own start, and what the migration library runs on a connection.
NOT_IMPORTED = ("__main__.py", "env.py")

HIDE_AND_IMPORT = """
import importlib, os, pkgutil, sys
for name in {hidden!r}:
    sys.modules[name] = None
import backprobe
def complain(name):
    raise
count = 0
for found in pkgutil.walk_packages(backprobe.__path__, "backprobe.", onerror=complain):
    if not found.name.endswith(("__main__", "migrations.env")):
        importlib.import_module(found.name)
        count += 1
print(count)
"""


def import_all_without(*hidden: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", HIDE_AND_IMPORT.format(hidden=hidden)],
        capture_output=True,
        text=True,
        env=os.environ | {"PYTHONPATH": str(ROOT / "src")},
        check=False,
    )


def test_every_module_imports_without_posix_modules() -> None:
    result = import_all_without(*(name for name in POSIX_MODULES if name != "posix"))
    assert result.returncode == 0, result.stderr
    modules = [
        path
        for path in PACKAGE.rglob("*.py")
        if path != PACKAGE / "__init__.py" and path.name not in NOT_IMPORTED
    ]
    assert int(result.stdout) == len(modules)  # none was passed over: every folder is a package


def test_a_missing_module_is_noticed() -> None:
    """The check above can fail: numpy is certainly imported."""
    result = import_all_without("numpy")
    assert result.returncode != 0
    assert "numpy" in result.stderr


def posix_uses(tree: ast.AST) -> list[tuple[int, str]]:
    """Line and name of each use of a POSIX-only module or function of `os`."""
    found: list[tuple[int, str]] = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found += [(node.lineno, a.name) for a in node.names if a.name in POSIX_MODULES]
        elif isinstance(node, ast.ImportFrom) and node.module in POSIX_MODULES:
            found.append((node.lineno, node.module))
        elif (
            isinstance(node, ast.Attribute)
            and isinstance(node.value, ast.Name)
            and node.value.id == "os"
            and node.attr in POSIX_FUNCTIONS
        ):
            found.append((node.lineno, f"os.{node.attr}"))
    return found


def test_no_module_uses_what_only_posix_has() -> None:
    found = {
        path.relative_to(ROOT).as_posix(): uses
        for path in python_files("src")
        if (uses := posix_uses(ast.parse(path.read_text(encoding="utf-8"))))
    }
    assert found == {}


@pytest.mark.parametrize(
    ("source", "name"),
    [
        ("import fcntl", "fcntl"),
        ("def f():\n    from termios import tcgetattr", "termios"),
        ("os.getuid()", "os.getuid"),
    ],
)
def test_posix_uses_are_found(source: str, name: str) -> None:
    assert [use for _, use in posix_uses(ast.parse(source))] == [name]


def opened_as_text_without_encoding(tree: ast.AST) -> list[int]:
    """Lines that read or write text in whatever encoding the system happens to have."""
    found: list[int] = []
    for node in ast.walk(tree):
        if not isinstance(node, ast.Call) or any(k.arg == "encoding" for k in node.keywords):
            continue
        match node.func:
            case ast.Name(id="open"):
                mode = node.args[1] if len(node.args) > 1 else None
            case ast.Attribute(
                value=ast.Name(id="os" | "Image" | "archive" | "wave" | "StoredCapture")
                | ast.Attribute(attr="zip"),
                attr="open",
            ):
                continue  # bytes by nature: pictures, members of an archive, sound, stored captures
            case ast.Attribute(attr="open"):
                mode = node.args[0] if node.args else None
            case ast.Attribute(attr="read_text"):
                if not node.args:
                    found.append(node.lineno)
                continue
            case ast.Attribute(attr="write_text"):
                if len(node.args) < 2:
                    found.append(node.lineno)
                continue
            case _:
                continue
        if not (isinstance(mode, ast.Constant) and "b" in str(mode.value)):
            found.append(node.lineno)
    return found


def test_text_is_read_and_written_as_utf8() -> None:
    found = {
        path.relative_to(ROOT).as_posix(): lines
        for path in python_files("src", "tests", "scripts")
        if (lines := opened_as_text_without_encoding(ast.parse(path.read_text(encoding="utf-8"))))
    }
    assert found == {}


@pytest.mark.parametrize(
    ("source", "lines"),
    [
        ("open('a')", [1]),
        ("open('a', 'rb')", []),
        ("p.read_text()", [1]),
        ("p.read_text(encoding='utf-8')", []),
        ("p.write_text('x')", [1]),
        ("p.open()", [1]),
        ("p.open('wb')", []),
        ("os.open('a', os.O_RDONLY)", []),
    ],
)
def test_a_missing_encoding_is_found(source: str, lines: list[int]) -> None:
    assert opened_as_text_without_encoding(ast.parse(source)) == lines
