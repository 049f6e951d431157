"""The script that keeps sheets at hand while the connection is gone.

Its address may not change and it must stand at the top: a browser lets it serve what lies below.
"""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from backprobe.web.static_files import StaticFiles

router = APIRouter(include_in_schema=False)


@router.get("/away.js")
def away_script(request: Request) -> Response:
    """The script as it is now."""
    static: StaticFiles = request.app.state.static
    file = static.files["js/away.js"]
    return Response(file.content, media_type=file.media_type, headers={"Cache-Control": "no-cache"})
