"""Static files: addresses that change with the content, and nothing outside of the folder."""

import hashlib
from pathlib import Path

import pytest
from fastapi import FastAPI

from backprobe.errors import NotFoundError
from backprobe.web.static_files import FOLDER, StaticFiles
from tests.web.browsers import browser

VENDOR = FOLDER / "vendor"


def test_vendored_files_are_the_ones_that_were_taken_in() -> None:
    """SHA256SUMS is written once, when a file is taken in; `sha256sum -c` reads it too."""
    lines = (VENDOR / "SHA256SUMS").read_text(encoding="utf-8").splitlines()
    listed = {name: digest for digest, name in (line.split("  ", 1) for line in lines)}
    found = {
        path.name: hashlib.sha256(path.read_bytes()).hexdigest()
        for path in VENDOR.iterdir()
        if path.name != "SHA256SUMS"
    }
    assert found == listed
    assert len(found) >= 2


def test_every_vendored_script_has_its_licence_beside_it() -> None:
    scripts = list(VENDOR.glob("*.js"))
    assert scripts
    for script in scripts:
        name = script.name.removesuffix(".js").removesuffix(".min")
        assert "PERMISSION" in (VENDOR / f"{name}.LICENSE.txt").read_text(encoding="utf-8").upper()


def test_a_file_is_sent_with_its_type_and_kept_for_a_year(app: FastAPI) -> None:
    url = app.state.static.url("js/pair.js")
    found = browser(app).get(url)
    assert found.status_code == 200
    assert found.content == (FOLDER / "js" / "pair.js").read_bytes()
    assert found.headers["content-type"] == "text/javascript; charset=utf-8"
    assert found.headers["cache-control"] == "public, max-age=31536000, immutable"
    assert found.headers["x-content-type-options"] == "nosniff"


def test_asking_for_the_head_sends_no_body(app: FastAPI) -> None:
    found = browser(app).head(app.state.static.url("paper.css"))
    assert (found.status_code, found.content) == (200, b"")
    assert int(found.headers["content-length"]) == (FOLDER / "paper.css").stat().st_size


def test_the_address_changes_with_any_content(tmp_path: Path) -> None:
    (tmp_path / "a.js").write_text("import './b.js'", encoding="utf-8")
    (tmp_path / "b.js").write_text("1", encoding="utf-8")
    before = StaticFiles(tmp_path)
    assert StaticFiles(tmp_path).url("a.js") == before.url("a.js")
    (tmp_path / "b.js").write_text("2", encoding="utf-8")
    assert StaticFiles(tmp_path).url("a.js") != before.url("a.js")


def test_bytes_moved_between_files_are_noticed(tmp_path: Path) -> None:
    def version(first: str, second: str) -> str:
        (tmp_path / "a.js").write_text(first, encoding="utf-8")
        (tmp_path / "b.js").write_text(second, encoding="utf-8")
        return StaticFiles(tmp_path).version

    assert version("12", "3") != version("1", "23")


def test_a_misspelt_name_in_a_template_is_noticed() -> None:
    with pytest.raises(NotFoundError):
        StaticFiles().url("plane.css")


def test_a_file_of_a_type_without_a_name_is_not_served_as_something_else(tmp_path: Path) -> None:
    (tmp_path / "page.html").write_text("<p>", encoding="utf-8")
    with pytest.raises(KeyError):
        StaticFiles(tmp_path)


@pytest.mark.parametrize(
    "path",
    [
        "/static/{version}/../app.py",
        "/static/{version}/%2e%2e/app.py",
        "/static/{version}/..%2fapp.py",
        "/static/{version}/..%5capp.py",
        "/static/{version}/js/../../app.py",
        "/static/{version}//etc/passwd",
        "/static/{version}/%2fetc%2fpasswd",
        "/static/{version}/paper.css%00.js",
        "/static/{version}/",
        "/static/{version}/js",
        "/static/0000000000000000/paper.css",
        "/static/%2e%2e/templates/base.html",
        "/static/",
    ],
)
def test_nothing_else_can_be_reached(app: FastAPI, path: str) -> None:
    found = browser(app).get(path.format(version=app.state.static.version))
    assert found.status_code == 404
    assert "no-store" in found.headers["cache-control"]
    assert "import" not in found.text
