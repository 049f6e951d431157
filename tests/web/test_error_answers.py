"""What becomes of errors: status, JSON under /api, a page elsewhere, details in the log only."""

from pathlib import Path
from typing import Annotated

import pytest
from fastapi import FastAPI, Query

from backprobe.errors import (
    BackprobeError,
    ConflictError,
    JobFileError,
    NotFoundError,
    QuantityError,
    StoreError,
    UsageError,
)
from tests.web.browsers import browser

STATUSES = [
    (NotFoundError, 404),
    (ConflictError, 409),
    (StoreError, 503),
    (QuantityError, 422),
    (JobFileError, 422),
    (UsageError, 422),
]


def add_failing(app: FastAPI, error: Exception) -> None:
    def fail() -> None:
        raise error

    app.add_api_route("/api/fail", fail)
    app.add_api_route("/fail", fail)


@pytest.mark.parametrize(("kind", "status"), STATUSES)
def test_an_error_of_ours_has_its_status_and_three_parts(
    app: FastAPI, kind: type[BackprobeError], status: int
) -> None:
    add_failing(app, kind("It is so.", "line 3", "Do that."))
    found = browser(app).get("/api/fail")
    assert found.status_code == status
    assert found.json() == {"what": "It is so.", "where": "line 3", "remedy": "Do that."}


@pytest.mark.parametrize(("kind", "status"), STATUSES)
def test_elsewhere_it_is_a_page_with_the_same_words(
    app: FastAPI, kind: type[BackprobeError], status: int
) -> None:
    add_failing(app, kind("<b>It</b> is so.", "line 3", "Do that."))
    found = browser(app).get("/fail")
    assert found.status_code == status
    assert found.text.startswith("<!doctype html>")
    for part in ("&lt;b&gt;It&lt;/b&gt; is so.", "line 3", "Do that."):
        assert part in found.text


def test_a_script_that_swaps_a_piece_in_gets_a_piece(app: FastAPI) -> None:
    add_failing(app, NotFoundError("It is so."))
    found = browser(app).get("/fail", headers={"HX-Request": "true"})
    assert found.status_code == 404
    assert found.text.startswith('<div class="notice notice-bad" role="alert">')
    assert "<html" not in found.text


@pytest.mark.parametrize("path", ["/api/fail", "/fail"])
def test_an_unforeseen_error_shows_a_reference_and_nothing_else(
    app: FastAPI, log: Path, path: str
) -> None:
    add_failing(app, RuntimeError("secret detail of line 99"))
    found = browser(app, raise_server_exceptions=False).get(path)
    assert found.status_code == 500
    assert "secret" not in found.text
    assert "Traceback" not in found.text
    assert str(log) not in found.text
    assert "frame-ancestors 'none'" in found.headers["content-security-policy"]
    reference = found.text.split("reference ")[1].split(")")[0]
    kept = log.read_text(encoding="utf-8")
    assert reference in kept
    assert "RuntimeError: secret detail of line 99" in kept


def test_a_broken_error_page_is_answered_in_plain_text(app: FastAPI, tmp_path: Path) -> None:
    (tmp_path / "error.html").write_text("{{ nothing }}", encoding="utf-8")
    from backprobe.web.pages import Pages

    app.state.pages = Pages(app.state.static, tmp_path)
    add_failing(app, RuntimeError("first"))
    found = browser(app, raise_server_exceptions=False).get("/fail")
    assert found.status_code == 500
    assert found.headers["content-type"].startswith("text/plain")
    assert "reference" in found.text


@pytest.mark.parametrize(("path", "status"), [("/api/nothing", 404), ("/api/health", 405)])
def test_errors_of_the_framework_have_the_same_shape(app: FastAPI, path: str, status: int) -> None:
    found = browser(app).post(path)
    assert found.status_code == status
    assert set(found.json()) == {"what", "where", "remedy"}
    assert found.json()["what"].endswith(".")


def test_a_wrong_method_tells_the_right_one(app: FastAPI) -> None:
    assert browser(app).post("/api/health").headers["allow"] == "GET"


def test_invalid_values_have_the_same_shape(app: FastAPI) -> None:
    def take(n: Annotated[int, Query(ge=1)], m: Annotated[int, Query()]) -> None: ...

    app.add_api_route("/api/take", take)
    found = browser(app).get("/api/take", params={"n": "0"})
    assert found.status_code == 422
    told = found.json()
    assert set(told) == {"what", "where", "remedy"}
    assert told["where"] == "query n"
    assert "greater than or equal to 1" in told["what"]
    assert "1 more" in told["what"]


def test_the_description_of_the_interface_tells_the_shape(app: FastAPI) -> None:
    described = browser(app).get("/api/openapi.json").json()
    shape = described["components"]["schemas"]["ErrorTold"]
    assert set(shape["required"]) == {"what", "where", "remedy"}
    assert described["paths"]
    for path, operations in described["paths"].items():
        assert path.startswith("/api/")
        for operation in operations.values():
            assert {"4XX", "5XX"} <= set(operation["responses"])
            assert "422" not in operation["responses"]
