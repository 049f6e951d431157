"""The changelog is assembled from its fragments without losing one."""

import datetime
from pathlib import Path

import pytest

from scripts import changelog
from tests.project.source_tree import ROOT


@pytest.fixture
def project(tmp_path: Path) -> Path:
    """A project with a released version and two fragments."""
    folder = tmp_path / "changelog.d"
    folder.mkdir()
    (folder / "README.md").write_text("# How", encoding="utf-8")
    (folder / "wires.added.md").write_text("Names each\nwire.\n", encoding="utf-8")
    (folder / "ohms.numeric.md").write_text("Ohms rise by 1 %.\n", encoding="utf-8")
    text = f"# Changelog\n\n{changelog.MARKER}\n## 0.1.0 (2026-01-01)\n"
    (tmp_path / "CHANGELOG.md").write_text(text, encoding="utf-8")
    return tmp_path


def test_a_release_goes_above_the_version_before(project: Path) -> None:
    changelog.release(project, "0.2.0", datetime.date(2026, 3, 1))
    assert (project / "CHANGELOG.md").read_text(encoding="utf-8") == (
        f"# Changelog\n\n{changelog.MARKER}\n"
        "## 0.2.0 (2026-03-01)\n\n"
        "### Added\n\n- Names each wire.\n\n"
        "### Computed values that differ\n\n- Ohms rise by 1 %.\n\n"
        "## 0.1.0 (2026-01-01)\n"
    )
    assert [path.name for path in (project / "changelog.d").iterdir()] == ["README.md"]


@pytest.mark.parametrize("name", ["notes.txt", "wires.md", "wires.improved.md", "Wires.added.md"])
def test_a_fragment_of_unknown_kind_is_refused_by_name(project: Path, name: str) -> None:
    (project / "changelog.d" / name).write_text("Text.", encoding="utf-8")
    with pytest.raises(changelog.FragmentError, match=rf"{name}: .* added, changed, numeric"):
        changelog.release(project, "0.2.0", datetime.date(2026, 3, 1))
    assert (project / "changelog.d" / "wires.added.md").exists()


def test_an_empty_fragment_is_refused(project: Path) -> None:
    (project / "changelog.d" / "nothing.fixed.md").write_text(" \n", encoding="utf-8")
    with pytest.raises(changelog.FragmentError, match=r"nothing\.fixed\.md: it is empty"):
        changelog.read_fragments(project / "changelog.d")


def test_a_changelog_without_marker_is_left_alone(project: Path) -> None:
    (project / "CHANGELOG.md").write_text("# Changelog\n", encoding="utf-8")
    with pytest.raises(changelog.FragmentError, match="exactly once"):
        changelog.release(project, "0.2.0", datetime.date(2026, 3, 1))
    assert (project / "changelog.d" / "wires.added.md").exists()


def test_our_own_fragments_can_be_assembled(capsys: pytest.CaptureFixture[str]) -> None:
    assert changelog.main([]) == 0
    shown = capsys.readouterr().out
    for path in (ROOT / "changelog.d").glob("*.*.md"):
        assert " ".join(path.read_text(encoding="utf-8").split()) in shown
    assert (ROOT / "CHANGELOG.md").read_text(encoding="utf-8").count(changelog.MARKER) == 1
