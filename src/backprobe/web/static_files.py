"""Scripts, styles and pictures of the pages, under addresses that change with their content.

One hash stands for the whole folder, since modules import one another by relative names. All files
are read at the start: what isn't among them can't be asked for, whatever the path looks like.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from fastapi import APIRouter, Request, Response

from backprobe.errors import NotFoundError

FOLDER: Final = Path(__file__).parent / "static"
# Not the system's own table: on some laptops it calls scripts plain text, and browsers refuse them.
MEDIA_TYPES: Final = {
    "": "text/plain; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".png": "image/png",
    ".svg": "image/svg+xml",
    ".ttf": "font/ttf",
    ".txt": "text/plain; charset=utf-8",
    ".webmanifest": "application/manifest+json",
    ".woff2": "font/woff2",
}
ONE_YEAR: Final = "public, max-age=31536000, immutable"

router = APIRouter(include_in_schema=False)


@dataclass(frozen=True, slots=True)
class StaticFile:
    """One file as it is sent."""

    content: bytes
    media_type: str


class StaticFiles:
    """The files of a folder, and the addresses that stand for just this content."""

    def __init__(self, folder: Path = FOLDER) -> None:
        self.files = {
            path.relative_to(folder).as_posix(): StaticFile(
                path.read_bytes(), MEDIA_TYPES[path.suffix]
            )
            for path in sorted(folder.rglob("*"))
            if path.is_file()
        }
        digest = hashlib.sha256()
        for name, file in self.files.items():
            digest.update(f"{name}\0{len(file.content)}\0".encode())
            digest.update(file.content)
        self.version = digest.hexdigest()[:16]

    def url(self, name: str) -> str:
        """The address of a file; for templates, where a misspelt name must be noticed.

        Raises
        ------
        NotFoundError
            There is no such file.
        """
        self.file(name)
        return f"/static/{self.version}/{name}"

    def file(self, name: str) -> StaticFile:
        """Find a file by its name below the folder."""
        found = self.files.get(name)
        if found is None:
            raise NotFoundError(
                "There is no such file.", remedy="Load the page that asked for it again."
            )
        return found


@router.api_route("/static/{version}/{name:path}", methods=["GET", "HEAD"])
async def static_file(request: Request, version: str, name: str) -> Response:
    """Send a file; one of another version of the program is gone."""
    static: StaticFiles = request.app.state.static
    file = static.file(name if version == static.version else "")
    return Response(file.content, media_type=file.media_type, headers={"Cache-Control": ONE_YEAR})
