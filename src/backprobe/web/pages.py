"""From a template and one view to a page."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Final

from fastapi import Request
from fastapi.responses import HTMLResponse
from jinja2 import Environment, FileSystemLoader, StrictUndefined

from backprobe import __version__
from backprobe.web.static_files import StaticFiles
from backprobe.web.visitor import visitor_of

FOLDER: Final = Path(__file__).parent / "templates"


class Pages:
    """The templates; what a template asks for that isn't there is an error, never blank."""

    def __init__(self, static: StaticFiles, folder: Path = FOLDER) -> None:
        self.environment = Environment(
            loader=FileSystemLoader(folder, encoding="utf-8"),
            autoescape=True,
            undefined=StrictUndefined,
            trim_blocks=True,
            lstrip_blocks=True,
            auto_reload=False,
        )
        self.environment.globals["static"] = static.url
        self.environment.globals["version"] = __version__

    def page(
        self,
        request: Request,
        template: str,
        view: object = None,
        *,
        status: int = 200,
        headers: Mapping[str, str] | None = None,
    ) -> HTMLResponse:
        """Render a page.

        A template sees `view`, the one dataclass that it shows; `visitor`, who is asking (None
        where that isn't settled); `path`, the address asked for; `static(name)` and `version`.
        """
        text = self.environment.get_template(template).render(
            view=view, visitor=visitor_of(request), path=request.url.path
        )
        return HTMLResponse(text, status, dict(headers or {}))


def pages_of(request: Request) -> Pages:
    """The templates of the application that a request came to."""
    pages: Pages = request.app.state.pages
    return pages
