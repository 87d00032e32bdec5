"""The service worker of the child's page: its script, and the list of what it keeps."""

import hashlib
from collections.abc import Collection
from pathlib import Path

import orjson

PAGE = "/tablet"
# The page itself and the folders that it loads from.
PAGE_FILE = "tablet/tablet.html"
FOLDERS = ("tablet", "shared")
SCRIPT_FILE = "tablet/worker.js"


def _sha256(raw: bytes) -> str:
    return hashlib.sha256(raw).hexdigest()


def files_to_keep(web: Path, suffixes: Collection[str]) -> dict[str, Path]:
    """Return every file that the page may load, by the path it is served at."""
    found = {PAGE: web / PAGE_FILE}
    for folder in FOLDERS:
        for file in sorted((web / folder).iterdir()):
            if file.suffix in suffixes:
                found[f"/static/{folder}/{file.name}"] = file
    return found


def worker_script(web: Path, suffixes: Collection[str]) -> str:
    """Return the script, with its version and the SHA-256 of every file in front.

    Parameters
    ----------
    web : Path
        Folder of the pages.
    suffixes : collection of str
        Kinds of files that are served.

    Returns
    -------
    str
        A classic script. It differs whenever a file or the script itself does, which is
        how a browser finds out that there is a newer version.
    """
    source = (web / SCRIPT_FILE).read_text(encoding="utf-8")
    kept = files_to_keep(web, suffixes).items()
    files = orjson.dumps({path: _sha256(file.read_bytes()) for path, file in kept}).decode()
    version = _sha256((files + source).encode())
    return f'const VERSION = "{version}";\nconst FILES = {files};\n{source}'
