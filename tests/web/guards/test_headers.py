"""Headers on every answer, whoever gives it."""

import pytest
from fastapi import FastAPI
from fastapi.responses import HTMLResponse

from tests.web.browsers import browser, phone

# Written down here once more: a change of the policy must be meant.
POLICY = {
    "default-src": "'none'",
    "script-src": "'self'",
    "style-src": "'self'",
    "img-src": "'self' data: blob:",
    "connect-src": "'self'",
    "font-src": "'self'",
    "manifest-src": "'self'",
    "worker-src": "'self'",
    "form-action": "'self'",
    "base-uri": "'none'",
    "frame-ancestors": "'none'",
}


@pytest.mark.parametrize(
    ("path", "status"),
    [("/", 200), ("/api/health", 200), ("/nothing", 404), ("/api/nothing", 404)],
)
def test_pages_and_data_are_marked_and_never_kept(app: FastAPI, path: str, status: int) -> None:
    found = browser(app).get(path)
    assert found.status_code == status
    parts = (part.split(" ", 1) for part in found.headers["content-security-policy"].split("; "))
    assert list(parts) == [[name, value] for name, value in POLICY.items()]
    assert found.headers["x-content-type-options"] == "nosniff"
    assert found.headers["referrer-policy"] == "same-origin"
    assert found.headers["cross-origin-opener-policy"] == "same-origin"
    assert found.headers["cross-origin-resource-policy"] == "same-origin"
    assert "geolocation=()" in found.headers["permissions-policy"]
    assert found.headers["cache-control"] == "no-store"


def test_refusals_of_the_guards_are_marked_too(lan_app: FastAPI) -> None:
    stranger = phone(lan_app)
    answers = [
        stranger.get("/api/health"),
        stranger.get("/"),
        stranger.get("/", headers={"Host": "foreign.example"}),
        stranger.post("/pair", headers={"Origin": "http://foreign.example"}),
        stranger.post("/pair", content=b"x" * 5000),
        stranger.post("/pair", headers={"Content-Length": "30000000"}),
    ]
    assert [each.status_code for each in answers] == [401, 303, 421, 403, 413, 413]
    for each in answers:
        assert "frame-ancestors 'none'" in each.headers["content-security-policy"]
        assert each.headers["cache-control"] == "no-store"


def test_a_page_cannot_loosen_the_policy(app: FastAPI) -> None:
    def loose() -> HTMLResponse:
        return HTMLResponse("", headers={"Content-Security-Policy": "default-src *"})

    app.add_api_route("/loose", loose)
    found = browser(app).get("/loose")
    assert found.headers.get_list("content-security-policy") == [
        "; ".join(f"{name} {value}" for name, value in POLICY.items())
    ]
