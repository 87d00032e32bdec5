"""Reading an uploaded document: bounded while it arrives and again while it unpacks."""

import zlib

from fastapi import Request
from starlette.requests import ClientDisconnect

from server.faults import Fault
from server.problems import Problem
from server.strict_json import MAX_DOCUMENT_BYTES

# 16 more than the largest window tells zlib to expect a gzip header.
GZIP_WINDOW = zlib.MAX_WBITS + 16
TOO_LARGE = f"The document may have at most {MAX_DOCUMENT_BYTES} bytes, unpacked."
NOT_GZIP = "The body is not one whole gzip stream."
OTHER_ENCODING = "Content-Encoding must be gzip or left out."


async def read_document(request: Request) -> bytes:
    """Return the bytes of a document after content decoding.

    Parameters
    ----------
    request : Request
        Its body may be packed with gzip.

    Returns
    -------
    bytes
        At most `MAX_DOCUMENT_BYTES`; of the packed ones `server.protection` lets through no more.

    Raises
    ------
    Problem
        413 if it is too large, packed or unpacked; 415 for another encoding; 422 if it
        cannot be unpacked.
    """
    encoding = request.headers.get("content-encoding", "identity").strip().lower()
    if encoding not in ("identity", "gzip"):
        raise Problem(415, OTHER_ENCODING)
    body = bytearray()
    try:
        async for chunk in request.stream():
            body += chunk
    except ClientDisconnect:
        # Nobody is there to read this; the tablet sends the whole document again.
        raise Problem(400) from None
    return unpacked(bytes(body)) if encoding == "gzip" else bytes(body)


def unpacked(body: bytes, limit: int = MAX_DOCUMENT_BYTES) -> bytes:
    """Return what a gzip stream holds, never unpacking more than a limit.

    Parameters
    ----------
    body : bytes
        One gzip stream.
    limit : int
        Most bytes to unpack.

    Returns
    -------
    bytes
        The content.

    Raises
    ------
    Problem
        413 if there is more than `limit`, 422 if it is not one whole stream.
    """
    unpacker = zlib.decompressobj(GZIP_WINDOW)
    try:
        content = unpacker.decompress(body, limit + 1)
    except zlib.error:
        raise Problem(422, errors=[Fault("", NOT_GZIP)]) from None
    if len(content) > limit:
        raise Problem(413, errors=[Fault("", TOO_LARGE)])
    if not unpacker.eof or unpacker.unused_data:
        raise Problem(422, errors=[Fault("", NOT_GZIP)])
    return content
