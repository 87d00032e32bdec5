"""What takes long to make, made once in a run, whichever of its processes asks first."""

import os
import time
from collections.abc import Callable
from pathlib import Path

import pytest

MAKING_LIMIT_S = 300.0
# Set by `tests/run`, whose steps share one folder.
FOLDER_OF_RUN = "FOLDER_OF_RUN"


def shared_folder(factory: pytest.TempPathFactory, worker_id: str) -> Path:
    """The temporary folder that all processes of a run share."""
    if FOLDER_OF_RUN in os.environ:
        return Path(os.environ[FOLDER_OF_RUN])
    folder = factory.getbasetemp()
    return folder if worker_id == "master" else folder.parent


def made_once(folder: Path, name: str, make: Callable[[Path], None]) -> Path:
    """A file in a shared folder, made by one process; the others wait for it.

    Parameters
    ----------
    folder : Path
        Shared by all processes.
    name : str
        Of the file.
    make : callable
        Makes the file, or a folder, whose path it is given; what lies beside it is lost.

    Returns
    -------
    Path
        Of the whole file; to be read only.

    Raises
    ------
    AssertionError
        If the process that began did not make it.
    """
    file, making, failed = (folder / f"{name}{end}" for end in ("", "-in-the-making", "-failed"))
    try:
        making.mkdir()
    except FileExistsError:
        limit = time.monotonic() + MAKING_LIMIT_S
        while not file.exists():
            assert not failed.exists(), f"another process could not make {name}"
            assert time.monotonic() < limit, f"another process did not make {name} in time"
            time.sleep(0.2)
        return file
    try:
        make(making / name)
        return (making / name).rename(file)
    except BaseException:
        failed.touch()
        raise
