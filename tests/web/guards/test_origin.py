"""Changes come from our own pages, or from no browser.

What browsers send with which request: Fetch standard, "append a request Origin header", and Fetch
Metadata Request Headers (W3C), section 2.4.
"""

import pytest
from fastapi import FastAPI

from tests.web.browsers import HERE, browser

FOREIGN = "http://foreign.example"
FORM = "application/x-www-form-urlencoded"

Headers = list[tuple[str, str]]

REFUSED: list[tuple[str, Headers]] = [
    ("a form of a foreign page", [("Origin", FOREIGN), ("Sec-Fetch-Site", "cross-site")]),
    ("a form of an old browser", [("Origin", FOREIGN)]),
    ("a sandboxed frame", [("Origin", "null"), ("Sec-Fetch-Site", "cross-site")]),
    ("a page without an origin", [("Origin", "null")]),
    ("another program on this computer", [("Origin", "http://127.0.0.1:9999")]),
    ("another scheme", [("Origin", "https://127.0.0.1:8750")]),
    ("another name of this computer", [("Origin", "http://localhost:8750")]),
    ("a neighbouring name", [("Sec-Fetch-Site", "same-site")]),
    ("the address bar", [("Sec-Fetch-Site", "none")]),
    ("a contradiction", [("Origin", HERE), ("Sec-Fetch-Site", "cross-site")]),
    ("two origins", [("Origin", HERE), ("Origin", FOREIGN)]),
    ("nothing said", []),
    ("a foreign page that found the header", [("Origin", FOREIGN), ("X-Backprobe", "1")]),
    ("a foreign site and the header", [("Sec-Fetch-Site", "cross-site"), ("X-Backprobe", "1")]),
    ("another value of the header", [("X-Backprobe", "yes")]),
]
TAKEN: list[tuple[str, Headers]] = [
    ("our own form", [("Origin", HERE), ("Sec-Fetch-Site", "same-origin")]),
    ("our own form in an old browser", [("Origin", HERE)]),
    ("our own script, origin left out", [("Sec-Fetch-Site", "same-origin")]),
    ("a program that is no browser", [("X-Backprobe", "1")]),
]


def add_change(app: FastAPI) -> list[str]:
    done: list[str] = []

    def change() -> None:
        done.append("changed")

    app.add_api_route("/api/change", change, methods=["POST", "PUT", "PATCH", "DELETE", "GET"])
    return done


@pytest.mark.parametrize(("meaning", "headers"), REFUSED)
@pytest.mark.parametrize("method", ["POST", "PUT", "PATCH", "DELETE"])
def test_refused(app: FastAPI, meaning: str, headers: Headers, method: str) -> None:
    done = add_change(app)
    page = browser(app)
    del page.headers["Origin"]
    found = page.request(method, "/api/change", headers=[*headers, ("Content-Type", FORM)])
    assert found.status_code == 403, meaning
    assert "nothing was changed" in found.json()["what"]
    assert done == []


@pytest.mark.parametrize(("meaning", "headers"), TAKEN)
def test_taken(app: FastAPI, meaning: str, headers: Headers) -> None:
    done = add_change(app)
    page = browser(app)
    del page.headers["Origin"]
    assert page.post("/api/change", headers=headers).status_code == 200, meaning
    assert done == ["changed"]


def test_reading_needs_no_origin(app: FastAPI) -> None:
    add_change(app)
    page = browser(app)
    del page.headers["Origin"]
    assert page.get("/api/change").status_code == 200


def test_nobody_is_told_that_a_foreign_page_may_ask(app: FastAPI) -> None:
    """The question that a browser asks before it sends our header to another site."""
    found = browser(app).options(
        "/api/health",
        headers={"Origin": FOREIGN, "Access-Control-Request-Headers": "x-backprobe"},
    )
    assert found.status_code == 405
    assert not [name for name in found.headers if name.startswith("access-control")]
