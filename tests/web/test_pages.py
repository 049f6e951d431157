"""Templates: everything escaped, nothing silently blank, nothing that the policy would block."""

import re
from pathlib import Path

import pytest
from fastapi import FastAPI
from jinja2 import UndefinedError
from starlette.requests import Request

from backprobe.web.pages import FOLDER, Pages
from backprobe.web.static_files import StaticFiles

UNESCAPED = re.compile(r"\{\{-?\s*([^}]*?)\s*\|\s*safe\s*-?\}\}")
TEMPLATES = sorted(FOLDER.glob("**/*.html"))


@pytest.fixture
def request_(app: FastAPI) -> Request:
    scope = {"type": "http", "path": "/", "headers": [], "state": {}, "app": app}
    return Request(scope | {"server": ("127.0.0.1", 8750), "query_string": b"", "method": "GET"})


def rendered(folder: Path, request: Request, text: str, view: object) -> str:
    (folder / "x.html").write_text(text, encoding="utf-8")
    return bytes(Pages(StaticFiles(), folder).page(request, "x.html", view).body).decode()


def test_text_is_escaped(tmp_path: Path, request_: Request) -> None:
    text = rendered(tmp_path, request_, '<p title="{{ view }}">{{ view }}</p>', "<b>\"'&")
    assert text == '<p title="&lt;b&gt;&#34;&#39;&amp;">&lt;b&gt;&#34;&#39;&amp;</p>'


def test_what_is_missing_is_an_error(tmp_path: Path, request_: Request) -> None:
    with pytest.raises(UndefinedError):
        rendered(tmp_path, request_, "{{ view.nothing }}", "text")


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda path: path.name)
def test_no_template_holds_what_the_policy_blocks(path: Path) -> None:
    """Scripts, styles and handlers in the page itself are blocked, and anything from elsewhere."""
    text = path.read_text(encoding="utf-8")
    assert not re.search(r"<style|\sstyle=|\son\w+=|javascript:|<script(?![^>]*\ssrc=)", text)
    assert not re.search(r"(?:src|href|action)=[\"']?(?:https?:)?//", text)
    # Only drawings of our own are taken as they are.
    assert [name for name in UNESCAPED.findall(text) if not name.endswith("_svg")] == []
