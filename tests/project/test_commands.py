"""The commands in README.md and CONTRIBUTING.md work as they stand there.

Each ```console block is run line by line in a folder of its own that starts with a copy of the
examples. Lines below a command must come out of it; a line `...` stands for what is left out.
Commands that need a network stand in ```sh blocks and are not run.
"""

import os
import re
import shlex
import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.project.source_tree import ROOT

BIN = Path(sys.executable).parent


@dataclass(frozen=True)
class Shown:
    """A command as a document shows it, and the lines that it shows below."""

    command: str
    output: tuple[str, ...]


def console_blocks(text: str) -> list[list[Shown]]:
    """The commands of each console block of a Markdown text."""
    blocks = []
    for body in re.findall(r"^```console\n(.*?)^```$", text, re.MULTILINE | re.DOTALL):
        commands: list[tuple[str, list[str]]] = []
        for line in body.splitlines():
            if line.startswith("$ "):
                commands.append((line[2:], []))
            elif line.strip() not in ("", "..."):
                commands[-1][1].append(line)
        blocks.append([Shown(command, tuple(lines)) for command, lines in commands])
    return blocks


def words(text: str) -> str:
    """A text with its white space made single blanks: boxes break lines where they like."""
    return " ".join(text.split())


def run(command: str, folder: Path) -> subprocess.CompletedProcess[str]:
    """Run a command of ours; of make and .ci/run only what they would do is asked for."""
    arguments = shlex.split(command)
    if arguments[0] == ".ci/run":
        arguments = ["bash", "-n", ".ci/run"]
    elif arguments[0] == "make":
        arguments = ["make", "--dry-run", *arguments[1:]]
    elif arguments[0].startswith(".venv/bin/"):
        arguments[0] = str(BIN / Path(arguments[0]).name)
    elif arguments[0] == "backprobe":
        arguments[0] = str(BIN / "backprobe")
    files = [name for word in arguments[1:] for name in expanded(word, folder)]
    return subprocess.run(
        [arguments[0], *files],
        cwd=folder,
        env={k: v for k, v in os.environ.items() if not k.startswith("PYTEST_")}
        | {"COLUMNS": "100", "PYTHONUTF8": "1", "NO_COLOR": "1"},
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
    )


def expanded(word: str, folder: Path) -> list[str]:
    """A word with `*` as the shell would pass it on."""
    if "*" not in word:
        return [word]
    return sorted(path.relative_to(folder).as_posix() for path in folder.glob(word))


def documents() -> list[tuple[str, int, list[Shown]]]:
    """Each console block of our documents, with the document's name and the block's number."""
    return [
        (name, number, block)
        for name in ("README.md", "CONTRIBUTING.md")
        for number, block in enumerate(
            console_blocks((ROOT / name).read_text(encoding="utf-8")), start=1
        )
    ]


@pytest.mark.slow
@pytest.mark.parametrize(("name", "number", "block"), documents())
def test_commands_run_as_shown(name: str, number: int, block: list[Shown], tmp_path: Path) -> None:
    of_checkout = any(not shown.command.startswith("backprobe") for shown in block)
    folder = ROOT if of_checkout else tmp_path
    if not of_checkout:
        shutil.copytree(ROOT / "examples", tmp_path / "examples")
    for shown in block:
        result = run(shown.command, folder)
        assert result.returncode == 0, f"{name}, {shown.command}: {result.stdout}{result.stderr}"
        printed = words(result.stdout)
        for line in shown.output:
            assert words(line) in printed, f"{name}, {shown.command}: {result.stdout}"


def test_the_documents_show_commands() -> None:
    shown = [command.command for _, _, block in documents() for command in block]
    for expected in ("make run", "make test", "make check"):
        assert expected in shown


def test_commands_and_their_output_are_read_from_a_document() -> None:
    text = "Text\n\n```console\n$ a b\none\n...\ntwo\n$ c\n```\n\n```sh\nnot this\n```\n"
    assert console_blocks(text) == [[Shown("a b", ("one", "two")), Shown("c", ())]]


def test_a_missing_make_target_is_noticed() -> None:
    assert run("make no-such-target", ROOT).returncode != 0
