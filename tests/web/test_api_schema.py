"""The interface keeps to its own description, whatever it is sent.

Requests are made from /api/openapi.json by Schemathesis, a general-purpose tester of interfaces
that are described by OpenAPI: no 5xx, no status or body that the description doesn't have.
BACKPROBE_SCHEMA_EXAMPLES asks for more requests of each kind than the test run takes.
"""

import os
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.routing import APIRoute
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st
from schemathesis.checks import not_a_server_error
from schemathesis.openapi import from_asgi
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)
from starlette.types import Receive, Scope, Send

from backprobe.job import read_job
from backprobe.services import incoming
from backprobe.services.job_book import JobBook
from backprobe.services.recording_book import RecordingBook
from backprobe.services.recording_intake import Placing, keep_file
from backprobe.store.engine import Store
from backprobe.web import api, entry_api, event_stream, health, picture_api, recording_api

EXAMPLES = int(os.environ.get("BACKPROBE_SCHEMA_EXAMPLES", "15"))
FILE = Path(__file__).parents[2] / "examples" / "half-a-sheet.toml"
CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_schema_conformance,
]
OURS = {"X-Backprobe": "1", "Host": "localhost"}
ROUTES = [
    (method, route.path)
    for router in (
        api.router,
        entry_api.router,
        picture_api.router,
        recording_api.router,
        health.router,
    )
    for route in router.routes
    if isinstance(route, APIRoute)
    for method in sorted(route.methods or ())
]


class FromHere:
    """The application as a program on this computer reaches it."""

    def __init__(self, app: FastAPI) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        await self.app({**scope, "client": ("127.0.0.1", 50_000)}, receive, send)


@pytest.fixture
def keys(store: Store) -> dict[str, list[str]]:
    """Keys of a job and of what it holds, by the collection they belong to."""
    book = JobBook(store)
    job, sheet = book.take_in(read_job(FILE))
    wave = FILE.parents[1] / "tests" / "recordings" / "layouts"
    recordings = [
        keep_file(RecordingBook(store), wave / "comma.csv", job, Placing(kind))
        for kind in ("capture", "log")
    ]
    return {
        "jobs": [job],
        "sheets": [sheet],
        "rounds": [each.key for each in book.sheet(sheet)[2].rounds],
        "recordings": recordings,
        "incoming": [incoming.begin(store, job, "snap.csv", 1000).key],
    }


@pytest.fixture
def schema(app: FastAPI) -> Any:
    """The description as it is served."""
    return from_asgi("/api/openapi.json", FromHere(app), headers=OURS)


def test_every_address_is_tried_or_known_to_have_no_end(app: FastAPI) -> None:
    endless = {
        (method, route.path)
        for route in event_stream.router.routes
        if isinstance(route, APIRoute)
        for method in route.methods or ()
    }
    assert len(endless) == 1
    described = {
        (method.upper(), path)
        for path, methods in app.openapi()["paths"].items()
        for method in methods
        if path.startswith("/api/")
    }
    assert described == set(ROUTES) | endless


@pytest.mark.slow
@pytest.mark.parametrize(("method", "path"), ROUTES)
def test_nothing_that_is_sent_brings_it_to_fall(
    schema: Any, keys: dict[str, list[str]], method: str, path: str
) -> None:
    operation = schema[path][method]
    collection = path.split("/")[2]

    # The same requests in every run: what it finds must be found again.
    @seed(20260302)
    @settings(
        max_examples=EXAMPLES,
        deadline=None,
        database=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(case=operation.as_strategy(), which=st.integers(0, 3))
    def send(case: Any, which: int) -> None:
        if which and "key" in (case.path_parameters or {}):
            there = keys[collection]
            case.path_parameters["key"] = there[which % len(there)]
        case.call_and_validate(headers=OURS, checks=CHECKS)

    send()
