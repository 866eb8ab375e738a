"""Answers that stay the same until the next release: strong ETag, Cache-Control, 304.

RFC 9110 sections 8.8.3 and 13.1.2: `If-None-Match` compares weakly, a list is
taken as alternatives, an asterisk matches anything that exists.
"""

from __future__ import annotations

import hashlib

from starlette.requests import Request
from starlette.responses import Response

from outfeed_api.versions import VERSIONS

FRESH_FOR = 3600  # s; a catalogue changes with a release only, an hour bounds a stale copy
CACHE_CONTROL = f"public, max-age={FRESH_FOR}"


def strong_etag(content: bytes) -> str:
    """The entity tag of some content under the running version.

    Parameters
    ----------
    content : bytes
        The body.

    Returns
    -------
    str
        Quoted, as the header wants it.
    """
    digest = hashlib.sha256(VERSIONS.service.encode() + b"\0" + content)
    return f'"{digest.hexdigest()[:32]}"'


def cached_answer(request: Request, content: bytes, media_type: str) -> Response:
    """The content, or 304 when the caller has it.

    Parameters
    ----------
    request : Request
        The HTTP request.
    content : bytes
        The body.
    media_type : str
        Its media type.

    Returns
    -------
    Response
        200 or 304, with ETag and Cache-Control.
    """
    etag = strong_etag(content)
    headers = {"ETag": etag, "Cache-Control": CACHE_CONTROL}
    if _matches(request.headers.getlist("if-none-match"), etag):
        return Response(status_code=304, headers=headers)
    return Response(content, media_type=media_type, headers=headers)


def _matches(lines: list[str], etag: str) -> bool:
    tags = [tag.strip() for line in lines for tag in line.split(",")]
    return "*" in tags or etag in (tag.removeprefix("W/") for tag in tags)
