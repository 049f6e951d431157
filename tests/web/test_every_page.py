"""What holds for every page: one heading, no script or style inside, hostile text as text."""

from html.parser import HTMLParser

import pytest
from fastapi import FastAPI

from backprobe.services.job_book import JobBook
from backprobe.store.engine import Store
from tests.web.browsers import browser
from tests.web.filled import HOSTILE, example, hostile

PAGES = (
    "/",
    "/?q=reads&state=open",
    "/jobs/new",
    "/jobs/{job}",
    "/jobs/{job}/edit",
    "/jobs/{job}/sheets/new",
    "/jobs/{job}/outcome",
    "/sheets/{sheet}/witnesses",
    "/trims?job={job}&trim-idle-1=22&trim-2500-2=-3&do=explain",
    "/curves?job={job}&reading=2.41+V&pull_up=2.2k&do=means",
    "/curves?points=0+degC=3.64V%0A90+degC=0.50V&do=fit",
    "/air?job={job}",
    "/air?displacement=2.0&speed-1=780&pressure-1=34&temperature-1=32&flow-1=2.4&do=check",
    "/sheets/{sheet}/known-reading?quantity=volts&place=1&plugged=no&key=on",
    "/settings",
    "/settings/meter",
    "/devices",
    "/no/such/page",
)
# Fields that need no label of their own.
UNLABELLED = ("hidden", "submit", "checkbox")


class Seen(HTMLParser):
    """Gathers what a page consists of."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str]]] = []
        self.inside: list[str] = []
        self.inline = ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, {name: value or "" for name, value in attrs}))
        self.inside = [tag]

    def handle_endtag(self, tag: str) -> None:  # noqa: ARG002 - its name is the library's
        self.inside = []

    def handle_data(self, data: str) -> None:
        if self.inside and self.inside[-1] in ("script", "style"):
            self.inline += data

    def named(self, name: str) -> list[dict[str, str]]:
        """Attributes of all tags of one name."""
        return [attrs for tag, attrs in self.tags if tag == name]


def page(app: FastAPI, path: str, keys: tuple[str, str]) -> Seen:
    """A page as it is seen."""
    shown = browser(app).get(path.format(job=keys[0], sheet=keys[1]))
    assert shown.status_code == (404 if "no/such" in path else 200)
    return Seen(shown.text)


@pytest.mark.parametrize("path", PAGES)
def test_a_page_has_one_heading_its_landmarks_and_nothing_inline(
    app: FastAPI, store: Store, path: str
) -> None:
    seen = page(app, path, example(store))
    assert len(seen.named("h1")) == 1
    assert [each["lang"] for each in seen.named("html")] == ["en"]
    assert len(seen.named("main")) == len(seen.named("header")) == 1
    assert {"href": "#main", "class": "skip"} in seen.named("a")
    assert not seen.inline.strip()
    assert not seen.named("style")
    for tag, attrs in seen.tags:
        assert "style" not in attrs or tag == "svg", (tag, attrs)
        assert not [name for name in attrs if name.startswith("on")], (tag, attrs)


@pytest.mark.parametrize("path", PAGES)
def test_ids_are_unique_and_every_field_has_a_label(app: FastAPI, store: Store, path: str) -> None:
    seen = page(app, path, example(store))
    ids = [attrs["id"] for _, attrs in seen.tags if "id" in attrs]
    assert len(ids) == len(set(ids))
    labelled = {attrs.get("for") for attrs in seen.named("label")}
    for tag in ("input", "select", "textarea"):
        for attrs in seen.named(tag):
            assert attrs.get("type") in UNLABELLED or attrs.get("id") in labelled, attrs


@pytest.mark.parametrize("path", PAGES)
def test_hostile_text_stays_text(app: FastAPI, store: Store, path: str) -> None:
    keys = hostile(store)
    JobBook(store).conclude(
        keys[0], fault="none", cause=HOSTILE, repair=HOSTILE, not_tested=HOSTILE, proof=[HOSTILE]
    )
    seen = page(app, path, keys)
    assert not [attrs for attrs in seen.named("script") if "src" not in attrs]
    assert not [attrs for attrs in seen.named("img") if attrs.get("src") == "x"]
    assert not seen.named("b")
    assert not seen.named("i")


def test_a_page_without_scripts_has_a_way_to_every_other(app: FastAPI, store: Store) -> None:
    job, sheet = example(store)
    links = {attrs["href"] for attrs in page(app, "/jobs/{job}", (job, sheet)).named("a")}
    assert {
        "/",
        "/settings",
        "/devices",
        f"/sheets/{sheet}",
        f"/sheets/{sheet}/witnesses",
        f"/jobs/{job}/outcome",
        f"/air?job={job}",
        f"/jobs/{job}/edit",
        f"/jobs/{job}/report.pdf",
        f"/jobs/{job}/report.html",
        f"/jobs/{job}/sheets/new",
    } <= links
