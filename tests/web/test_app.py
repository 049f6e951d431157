"""The application as a whole: what is on, what is off."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from inspect import iscoroutinefunction

from fastapi import FastAPI
from fastapi.dependencies.models import Dependant
from fastapi.routing import APIRoute

from backprobe import __version__
from backprobe.store.engine import Store
from backprobe.web.app import ROUTERS, Hook, create_app
from backprobe.web.settings import ServeSettings
from tests.web.browsers import browser


def test_the_first_page_is_shown(app: FastAPI) -> None:
    shown = browser(app).get("/")
    assert shown.status_code == 200
    assert shown.headers["content-type"] == "text/html; charset=utf-8"
    assert __version__ in shown.text


def test_the_health_of_server_and_store(app: FastAPI) -> None:
    assert browser(app).get("/api/health").json() == {
        "version": __version__,
        "is_store_reachable": True,
    }


def test_no_page_loads_scripts_from_elsewhere(app: FastAPI) -> None:
    assert [browser(app).get(path).status_code for path in ("/docs", "/redoc")] == [404, 404]


def test_hooks_are_entered_in_order_and_left_in_reverse(store: Store) -> None:
    seen: list[str] = []

    def hook(name: str) -> Hook:
        @asynccontextmanager
        async def run(app: FastAPI) -> AsyncIterator[None]:
            seen.append(f"{name} begins")
            yield
            seen.append(f"{name} ends")

        return run

    app = create_app(store, ServeSettings(), hooks=(hook("first"), hook("second")))
    with browser(app) as here:
        assert here.get("/").status_code == 200
        assert seen == ["first begins", "second begins"]
    assert seen[2:] == ["second ends", "first ends"]


def test_what_a_route_asks_for_costs_no_thread(app: FastAPI) -> None:
    """A plain function would be run in a thread of its own with every request, one after the other.

    With fifty people entering at once these turns are what they would wait for.
    """
    asked = [call for route in _routes(app) for call in _calls(route.dependant)]
    assert len(asked) > 100
    assert [call for call in asked if not iscoroutinefunction(call)] == []


def _routes(app: FastAPI) -> list[APIRoute]:
    return [each for router in ROUTERS for each in router.routes if isinstance(each, APIRoute)]


def _calls(dependant: Dependant) -> list[object]:
    return [call for each in dependant.dependencies for call in (each.call, *_calls(each))]
