"""The child's page, and the files that pages load."""

import os
from importlib.resources import files
from pathlib import Path

from fastapi import APIRouter, FastAPI, Response
from starlette.responses import FileResponse
from starlette.staticfiles import StaticFiles
from starlette.types import Scope

from server.openapi import gives_media
from server.problems import Problem
from server.tablet_worker import worker_script

router = APIRouter()

# Templates lie beside these files; they are not for anybody to fetch.
TYPES = {
    ".css": "text/css; charset=utf-8",
    ".mjs": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
    ".png": "image/png",
    ".webmanifest": "application/manifest+json",
}
FOLDERS = ("tablet", "desk", "shared")
# Asked again each time, answered with 304: pages and their files always fit together.
FRESH = {"Cache-Control": "no-cache"}


def web_folder() -> Path:
    """Return the folder of the pages; they are data to the server, never code."""
    return Path(str(files("web")))


class PageFiles(StaticFiles):
    """Files of known kinds only, each with its media type."""

    def lookup_path(self, path: str) -> tuple[str, os.stat_result | None]:
        """Find a file, unless it is of another kind."""
        return super().lookup_path(path) if Path(path).suffix in TYPES else ("", None)

    def file_response(
        self,
        full_path: str | os.PathLike[str],
        stat_result: os.stat_result,
        scope: Scope,
        status_code: int = 200,
    ) -> Response:
        """Answer with the media type that does not depend on this machine."""
        response = super().file_response(full_path, stat_result, scope, status_code)
        if response.status_code != 304:
            response.headers["Content-Type"] = TYPES[Path(full_path).suffix]
        response.headers.update(FRESH)
        return response


def mount_files(app: FastAPI) -> None:
    """Serve the files that pages load."""
    for name in FOLDERS:
        app.mount(f"/static/{name}", PageFiles(directory=web_folder() / name, check_dir=False))


@router.get("/tablet", response_class=Response, responses=gives_media("text/html"))
def read_tablet_page() -> Response:
    """Return the child's page."""
    page = web_folder() / "tablet" / "tablet.html"
    if not page.is_file():
        raise Problem(404)
    return FileResponse(page, media_type="text/html; charset=utf-8", headers=FRESH)


@router.get("/tablet-worker.js", response_class=Response, responses=gives_media("text/javascript"))
def read_tablet_worker() -> Response:
    """Return the script that keeps the child's page on the tablet, with what it has to keep."""
    script = worker_script(web_folder(), TYPES)
    return Response(script, media_type=TYPES[".mjs"], headers=FRESH)
