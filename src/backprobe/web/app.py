"""Puts the pages together: guards, routes, templates, and what runs beside them."""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import AbstractAsyncContextManager, AsyncExitStack, asynccontextmanager
from typing import Final

from fastapi import APIRouter, FastAPI
from starlette.middleware import Middleware
from starlette.middleware.exceptions import ExceptionMiddleware
from starlette.types import ASGIApp

from backprobe import __version__
from backprobe.errors import BackprobeError
from backprobe.services.job_book import JobBook
from backprobe.services.recording_book import RecordingBook
from backprobe.store.engine import Store
from backprobe.web import (
    air_pages,
    api,
    away_script,
    connector_pages,
    curve_pages,
    device_pages,
    entry_api,
    entry_pages,
    event_stream,
    health,
    incoming_pages,
    job_pages,
    known_reading_pages,
    list_pages,
    outcome_pages,
    picture_api,
    recording_api,
    recording_pages,
    report_pages,
    round_pages,
    said_pieces,
    settings_pages,
    sheet_pages,
    static_files,
    trim_pages,
    witness_pages,
)
from backprobe.web.answering import answers_hook, desk_for
from backprobe.web.devices import Devices
from backprobe.web.error_answers import ANSWERS, answer_errors, answer_ours
from backprobe.web.guards.gate import DeviceGate
from backprobe.web.guards.headers import AnswerHeaders
from backprobe.web.guards.host import HostCheck
from backprobe.web.guards.origin import OriginCheck
from backprobe.web.guards.size import SizeCheck
from backprobe.web.live import Live, live_hook
from backprobe.web.pages import Pages
from backprobe.web.pairing import Pairing
from backprobe.web.settings import ServeSettings
from backprobe.web.static_files import StaticFiles

Hook = Callable[[FastAPI], AbstractAsyncContextManager[None]]

# Everything that can be asked for, in the order in which it is looked for: looking takes longer
# than some answers, so that what is asked for most often comes first.
ROUTERS: Final[tuple[APIRouter, ...]] = (
    entry_api.router,
    event_stream.router,
    static_files.router,
    list_pages.router,
    job_pages.router,
    connector_pages.router,
    outcome_pages.router,
    witness_pages.router,
    settings_pages.router,
    trim_pages.router,
    curve_pages.router,
    air_pages.router,
    said_pieces.router,
    device_pages.router,
    health.router,
    api.router,
    sheet_pages.router,
    picture_api.router,
    recording_api.router,
    incoming_pages.router,
    recording_pages.router,
    round_pages.router,
    entry_pages.router,
    known_reading_pages.router,
    report_pages.router,
    away_script.router,
)
# What the guards raise becomes an answer before anything else is asked.
GUARD_ANSWERS: Final = {BackprobeError: answer_ours}
# What runs as long as the server does, entered in this order and left in the reverse one.
HOOKS: Final[tuple[Hook, ...]] = (live_hook, answers_hook)


class _Application(FastAPI):
    """An application whose every answer is marked, also those that the framework gives itself."""

    def build_middleware_stack(self) -> ASGIApp:
        """Put the marking outside of all that can answer, and the size outside of the counting."""
        inner = super().build_middleware_stack()
        # Inside of it, the framework would put its own plain answer in the place of ours.
        checked = SizeCheck(inner, largest=self.max_body_size or 0)
        return AnswerHeaders(ExceptionMiddleware(checked, GUARD_ANSWERS))


def create_app(store: Store, settings: ServeSettings, hooks: Sequence[Hook] = HOOKS) -> FastAPI:
    """Make the application.

    Parameters
    ----------
    store : Store
        Up to date already (`store.upgrade`).
    settings : ServeSettings
        To whom it is served.
    hooks : sequence of callable
        What runs beside the requests.
    """
    app = _Application(
        title="backprobe",
        version=__version__,
        docs_url=None,  # these pages would load scripts from elsewhere
        redoc_url=None,
        openapi_url="/api/openapi.json",
        redirect_slashes=False,  # one address for one thing
        lifespan=_lifespan(hooks),
        max_body_size=settings.max_body_bytes,
        responses=ANSWERS,
    )
    app.state.store = store
    app.state.settings = settings
    app.state.static = StaticFiles()
    app.state.pages = Pages(app.state.static)
    app.state.devices = Devices(store)
    app.state.live = Live(store)
    app.state.pairing = Pairing()
    app.state.book = JobBook(store)
    app.state.recordings = RecordingBook(store)
    app.state.answers = desk_for(app)
    app.user_middleware = [
        Middleware(ExceptionMiddleware, handlers=GUARD_ANSWERS),
        Middleware(HostCheck, settings=settings),
        Middleware(OriginCheck),
        Middleware(DeviceGate, settings=settings, devices=app.state.devices),
    ]
    answer_errors(app)
    for router in ROUTERS:
        app.include_router(router)
    return app


def _lifespan(hooks: Sequence[Hook]) -> Callable[[FastAPI], AbstractAsyncContextManager[None]]:
    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[None]:
        async with AsyncExitStack() as stack:
            for hook in hooks:
                await stack.enter_async_context(hook(app))
            yield

    return lifespan
