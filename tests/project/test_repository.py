"""What may not stand in any file of the project."""

import re

import pytest

from tests.project.source_tree import ROOT, committed_text_files

# Put together from pieces so that this file does not find itself.
UNWANTED = {
    "a path of one developer's machine": "|".join(
        "/" + place + "/" for place in ("work", "root", "home/[a-z]+", "tmp", "farm")
    ),
    "unfinished work": r"\b(" + "|".join(("TO" + "DO", "FIX" + "ME", "X" + "XX")) + r")\b",
    "a word about how the text came to be": r"(?i)\b" + "trans" + r"cripts?\b",
    "a check silenced without naming which": r"#\s*(type:\s*ignore|no" + r"qa)\s*$",
}


@pytest.mark.parametrize("meaning", UNWANTED)
def test_no_file_holds(meaning: str) -> None:
    pattern = re.compile(UNWANTED[meaning], re.MULTILINE)
    files = list(committed_text_files())
    assert len(files) > 20
    found = [
        f"{path.relative_to(ROOT)}:{text[: match.start()].count(chr(10)) + 1} {match.group()}"
        for path, text in files
        for match in pattern.finditer(text)
    ]
    assert found == []


@pytest.mark.parametrize(
    ("meaning", "text"),
    [
        ("a path of one developer's machine", "see /" + "tmp/notes"),
        ("unfinished work", "# TO" + "DO: later"),
        ("a word about how the text came to be", "the trans" + "cript"),
        ("a check silenced without naming which", "x = 1  # no" + "qa\n"),
    ],
)
def test_it_would_be_found(meaning: str, text: str) -> None:
    assert re.search(UNWANTED[meaning], text, re.MULTILINE)


def test_the_lock_names_no_index() -> None:
    """It is meant for whatever package index a user's pip is set to."""
    lock = (ROOT / "lock.txt").read_text(encoding="utf-8")
    assert "://" not in lock
    pinned = re.findall(r"^\S+==\S+", lock, re.MULTILINE)
    assert len(pinned) > 20
    for name in pinned:
        block = lock.split(name, 1)[1].split("\n", 3)[1]
        assert "--hash=sha256:" in block, f"{name} is pinned without a hash"
