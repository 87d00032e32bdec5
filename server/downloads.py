"""Files that leave by a browser: one name for each download, made by chance."""

from fastapi import Response

from server.problems import NEVER_CACHED
from server.tables import random_id


def pdf_answer(body: bytes, kind: str) -> Response:
    """Return a document to save.

    Parameters
    ----------
    body : bytes
        The PDF.
    kind : str
        What it is, as its name says before a random id of this download alone: two files of
        one child cannot be told to belong together.

    Returns
    -------
    Response
        Never kept by a browser.
    """
    name = f"linnet-{kind}-{random_id()}.pdf"
    headers = {"Content-Disposition": f'attachment; filename="{name}"'} | NEVER_CACHED
    return Response(body, media_type="application/pdf", headers=headers)
