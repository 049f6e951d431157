"""How much is taken in at once."""

from collections.abc import Iterator

import pytest
from fastapi import FastAPI, Request

from backprobe.store.engine import Store
from backprobe.web.app import create_app
from backprobe.web.settings import ServeSettings
from tests.web.browsers import browser

LARGEST = 100_000


@pytest.fixture
def small_app(store: Store) -> FastAPI:
    """An application that takes little, and tells how much came."""
    app = create_app(store, ServeSettings(max_body_bytes=LARGEST))

    async def take(request: Request) -> int:
        return len(await request.body())

    app.add_api_route("/api/take", take, methods=["POST"])
    return app


def pieces(count: int) -> Iterator[bytes]:
    for _ in range(count):
        yield b"x" * 1000


def test_up_to_the_limit_it_is_taken(small_app: FastAPI) -> None:
    assert browser(small_app).post("/api/take", content=b"x" * LARGEST).json() == LARGEST
    assert browser(small_app).post("/api/take", content=pieces(100)).json() == LARGEST


@pytest.mark.parametrize(
    "declared", [str(LARGEST + 1), "99999999999999999999", "9" * 5000, "-1", "many", ""]
)
def test_a_declared_length_beyond_it_is_refused(small_app: FastAPI, declared: str) -> None:
    found = browser(small_app).post("/api/take", headers={"Content-Length": declared})
    assert found.status_code == 413
    assert set(found.json()) == {"what", "where", "remedy"}


def test_what_comes_in_pieces_is_counted(small_app: FastAPI) -> None:
    found = browser(small_app).post("/api/take", content=pieces(101))
    assert found.status_code == 413
    assert set(found.json()) == {"what", "where", "remedy"}
