"""Documents keep up with the code: links lead somewhere, words and sources are explained."""

import inspect
import re
from dataclasses import fields
from pathlib import Path

import pytest

from backprobe import errors
from backprobe.job.job_file import parse_job
from backprobe.job.model import Round
from backprobe.vocabulary import ACTIONS, CONNECTOR_KINDS, FAULT_KINDS, KEYS, ROLES
from scripts import reference_pages
from tests.project.source_tree import ROOT, committed_text_files

GLOSSARY = (ROOT / "docs" / "glossary.md").read_text(encoding="utf-8")
BIBLIOGRAPHY = (ROOT / "docs" / "bibliography.md").read_text(encoding="utf-8")
LISTED = set(re.findall(r"^\| \[([a-z0-9-]+)\] \|", BIBLIOGRAPHY, re.MULTILINE))
# A citation: a name and a year or number in brackets, then perhaps a place in the source.
CITATION = re.compile(r"\[([a-z]{1,12}[0-9]{2,5}(?:-[0-9]+)?)(?:,[^\]\n]*)?\](?!\()")

DOCUMENTS = sorted(path for path in ROOT.glob("*.md")) + sorted((ROOT / "docs").rglob("*.md"))


@pytest.mark.parametrize("path", DOCUMENTS, ids=lambda path: path.name)
def test_links_lead_somewhere(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    targets = re.findall(r"\]\((?!https?:|mailto:|#)([^)#\s]+)", text)
    missing = [target for target in targets if not (path.parent / target).exists()]
    assert missing == []


def test_every_cited_source_is_in_the_bibliography() -> None:
    cited: dict[str, str] = {}
    for path, text in committed_text_files():
        if path.suffix in {".py", ".md", ".toml"} and "tests" not in path.parts:
            cited |= dict.fromkeys(CITATION.findall(text), path.name)
    assert len(cited) > 10
    assert {key: place for key, place in cited.items() if key not in LISTED} == {}


def test_citations_are_recognised() -> None:
    text = "see [good1950], [jcgm100, 4.3.7], not a[0] nor [2026](x) nor [v1](y)"
    assert CITATION.findall(text) == ["good1950", "jcgm100"]


def test_no_source_is_listed_twice() -> None:
    keys = re.findall(r"^\| \[([a-z0-9-]+)\] \|", BIBLIOGRAPHY, re.MULTILINE)
    assert sorted(keys) == sorted(set(keys))


@pytest.mark.parametrize("word", [*ROLES, *FAULT_KINDS])
def test_the_glossary_explains(word: str) -> None:
    assert re.search(rf"^\| `{re.escape(word)}` \| \w+", GLOSSARY, re.MULTILINE)


def error_classes() -> list[str]:
    return [
        name
        for name, item in inspect.getmembers(errors, inspect.isclass)
        if issubclass(item, errors.BackprobeError) and item is not errors.BackprobeError
    ]


@pytest.mark.parametrize("name", error_classes())
def test_the_errors_page_tells_what_to_do_about(name: str) -> None:
    text = (ROOT / "docs" / "errors.md").read_text(encoding="utf-8")
    row = re.search(rf"^\| `{name}` \| [^|]+ \| [^|]+ \|$", text, re.MULTILINE)
    assert row, f"docs/errors.md needs a row: what {name} means, and what to do"


def test_the_errors_page_names_no_error_that_is_gone() -> None:
    text = (ROOT / "docs" / "errors.md").read_text(encoding="utf-8")
    assert set(re.findall(r"^\| `([A-Z]\w+)` \|", text, re.MULTILINE)) == set(error_classes())


JOB_FILE_PAGE = (ROOT / "docs" / "job-file.md").read_text(encoding="utf-8")


def test_the_job_file_shown_is_a_job_file() -> None:
    (example,) = re.findall(r"^```toml\n(.*?)^```$", JOB_FILE_PAGE, re.MULTILINE | re.DOTALL)
    job = parse_job(example, "docs/job-file.md")
    assert [terminal.pin for terminal in job.connector.terminals] == ["1", "2", "3", "4"]
    assert job.rounds[0].volts["3"].value == pytest.approx(0.012)


@pytest.mark.parametrize("key", [field.name for field in fields(Round)])
def test_the_job_file_page_shows_every_key_of_a_round(key: str) -> None:
    assert re.search(rf"^{key} = ", JOB_FILE_PAGE, re.MULTILINE)


@pytest.mark.parametrize("word", [*ROLES, *FAULT_KINDS])
def test_the_job_file_page_names(word: str) -> None:
    assert f"`{word}`" in JOB_FILE_PAGE


@pytest.mark.parametrize("word", [*CONNECTOR_KINDS, *ACTIONS, *KEYS])
def test_the_job_file_page_names_the_choice(word: str) -> None:
    assert re.search(rf"\b{word}\b", JOB_FILE_PAGE)


def test_the_page_of_circuits_is_up_to_date() -> None:
    page = ROOT / "docs" / "circuits.md"
    assert page.read_text(encoding="utf-8") == reference_pages.page(), "run `make reference`"
