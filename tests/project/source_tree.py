"""Where the checkout is and which files belong to it."""

import subprocess
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).parents[2]
PACKAGE = ROOT / "src" / "backprobe"

MADE_BY_TOOLS = {".venv", ".git", "__pycache__", "build", "dist"}


def python_files(*folders: str) -> list[Path]:
    """Python files below folders of the checkout, sorted."""
    return sorted(path for folder in folders for path in (ROOT / folder).rglob("*.py"))


def committed_text_files() -> Iterator[tuple[Path, str]]:
    """Each file that belongs to the project and is text, with its text."""
    listed = subprocess.run(
        ["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=False
    )
    if listed.returncode == 0:
        names = [name for name in listed.stdout.split("\0") if name]
    else:  # a source distribution has no repository
        names = [
            path.relative_to(ROOT).as_posix()
            for path in ROOT.rglob("*")
            if path.is_file() and not MADE_BY_TOOLS & set(path.relative_to(ROOT).parts)
        ]
    for name in names:
        path = ROOT / name
        try:
            yield path, path.read_text(encoding="utf-8")
        except (UnicodeDecodeError, FileNotFoundError):
            continue  # a picture, or deleted and not yet committed
