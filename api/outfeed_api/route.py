"""The route class of every computation: bytes in, model, SI, core, units, bytes out.

One place validates, converts and serialises, so a route is only its function
from an SI request to an SI answer. Nothing here knows any topic.
"""

from __future__ import annotations

import asyncio
import functools
import re
from collections.abc import Callable, Coroutine, Mapping
from dataclasses import dataclass, field
from typing import Any, TypeVar, get_type_hints

from fastapi.routing import APIRoute
from pydantic_core import to_json
from starlette.requests import Request as HttpRequest
from starlette.responses import Response

from outfeed import OutfeedError
from outfeed_api.conversion import to_display, to_si
from outfeed_api.models import Answer, Request
from outfeed_api.problems import (
    CLIENT_LEFT,
    INVALID,
    UNSUPPORTED_MEDIA_TYPE,
    Allowed,
    ProblemError,
    field_error,
)
from outfeed_api.refusals import problem_of
from outfeed_api.validation import read_json
from outfeed_api.versions import VERSIONS

JSON = "application/json"
STEERING = "steering"  # tag of what is asked beside a running dryer
QUALITY = re.compile(r"q\s*=\s*(0(?:\.\d{0,3})?|1(?:\.0{0,3})?)")  # RFC 9110 section 12.4.2
HEAVY_BODY = 20_000  # bytes; a longer body is parsed and computed off the event loop

Endpoint = TypeVar("Endpoint", bound=Callable[..., Any])
Reader = Callable[[bytes, Mapping[str, str]], Request]
Writer = Callable[[Any, Any], bytes]


@dataclass(frozen=True, slots=True)
class Extras:
    """What a computation does beside JSON in and JSON out.

    Attributes
    ----------
    heavy : bool
        Whether it may take more than about a millisecond.
    reads : dict
        From media type to a function (body, query) -> request, in the caller's units.
    writes : dict
        From media type to a function (SI request, answer in the caller's units) -> bytes.
    logs : frozenset of str
        Media types whose bodies may be as large as a log.
    """

    heavy: bool = False
    reads: dict[str, Reader] = field(default_factory=dict)
    writes: dict[str, Writer] = field(default_factory=dict)
    logs: frozenset[str] = frozenset()


def computes(
    *,
    heavy: bool = False,
    reads: dict[str, Reader] | None = None,
    writes: dict[str, Writer] | None = None,
    logs: frozenset[str] = frozenset(),
) -> Callable[[Endpoint], Endpoint]:
    """Mark an endpoint function with its `Extras`; stands under the router's decorator."""

    def mark(endpoint: Endpoint) -> Endpoint:
        endpoint.outfeed_extras = Extras(  # type: ignore[attr-defined]
            heavy, reads or {}, writes or {}, logs
        )
        return endpoint

    return mark


class ComputeRoute(APIRoute):
    """A POST route whose endpoint is a plain function from SI request to SI answer."""

    @property
    def extras(self) -> Extras:
        """What the endpoint does beside JSON in and JSON out."""
        extras: Extras = getattr(self.endpoint, "outfeed_extras", Extras())
        return extras

    def get_route_handler(self) -> Callable[[HttpRequest], Coroutine[Any, Any, Response]]:
        """The handler that does everything around the endpoint."""
        model = request_model(self.endpoint)
        extras = self.extras
        steering = STEERING in self.tags

        async def handle(http: HttpRequest) -> Response:
            read = _reader(http, model, extras)
            media_type = _accepted(http.headers.get("accept", ""), extras)
            body = await http.body()
            work = functools.partial(
                _answer, self.endpoint, read, extras.writes.get(media_type), body,
                dict(http.query_params),
            )  # fmt: skip
            if extras.heavy or len(body) > HEAVY_BODY:
                running = http.app.state.workshop.run(work, steering=steering)
                content = await _while_waited_for(http, running)
            else:
                content = work()
            # One address, several forms of answer: a cache must ask which was wanted.
            varies = {"Vary": "Accept"} if extras.writes else None
            return Response(content, media_type=media_type, headers=varies)

        return handle


async def _while_waited_for(http: HttpRequest, work: Coroutine[Any, Any, bytes]) -> bytes:
    """What `work` comes to; given up when the caller hangs up, so that others need not wait."""
    working = asyncio.ensure_future(work)
    leaving = asyncio.ensure_future(_left(http))
    try:
        await asyncio.wait({working, leaving}, return_when=asyncio.FIRST_COMPLETED)
        if not working.done():
            raise ProblemError(CLIENT_LEFT, "nobody waits for the answer any more")
        return working.result()
    finally:
        working.add_done_callback(_heard)
        working.cancel()
        leaving.cancel()


def _heard(work: asyncio.Future[bytes]) -> None:
    """Take the error of work that ended as its caller hung up: asyncio logs what nobody takes."""
    if not work.cancelled():
        work.exception()


async def _left(http: HttpRequest) -> None:
    while (await http.receive())["type"] != "http.disconnect":
        pass


def request_model(endpoint: Callable[..., Any]) -> type[Request]:
    """The request model that an endpoint takes as its one argument."""
    hints = get_type_hints(endpoint)
    hints.pop("return")
    (model,) = hints.values()
    if not (isinstance(model, type) and issubclass(model, Request)):
        raise TypeError(f"{endpoint.__name__} must take one Request")
    return model


def _reader(http: HttpRequest, model: type[Request], extras: Extras) -> Reader:
    media_type, *parameters = http.headers.get("content-type", "").split(";")
    media_type = media_type.strip().lower()
    if all(map(_is_utf8, parameters)):
        if media_type == JSON:
            return lambda body, query: _from_json(body, query, model)
        if media_type in extras.reads:
            return extras.reads[media_type]
    known = ", ".join([JSON, *extras.reads])
    raise ProblemError(
        UNSUPPORTED_MEDIA_TYPE,
        f"this resource reads {known} in UTF-8",
        headers={"Accept-Post": known},
    )


def _is_utf8(parameter: str) -> bool:
    """Whether a parameter of a media type leaves the text UTF-8; only `charset` can say not."""
    name, _, value = parameter.partition("=")
    charsets = {"utf-8", "utf8", "us-ascii"}
    return name.strip().lower() != "charset" or value.strip().strip('"').lower() in charsets


def _from_json(body: bytes, query: Mapping[str, str], model: type[Request]) -> Request:
    refuse_query(query)
    return read_json(body, model)


def refuse_query(query: Mapping[str, str], *known: str) -> None:
    """Refuse query parameters that nobody reads.

    Parameters
    ----------
    query : mapping
        The query parameters of the request.
    *known : str
        The names that are read.

    Raises
    ------
    ProblemError
        ``invalid-input`` naming the first unknown one.
    """
    unknown = [name for name in query if name not in known]
    if unknown:
        detail = "there is no such query parameter"
        fault = field_error("", detail, unknown[0], Allowed(one_of=list(known)))
        raise ProblemError(INVALID, detail, [fault])


def _accepted(accept: str, extras: Extras) -> str:
    """The media type to answer in: the one the client likes best, JSON where it likes none of ours.

    RFC 9110 section 12.5.1: the closest range counts, its quality ranks, 0 refuses.
    """
    if not extras.writes:
        return JSON
    wishes = [_wish(item) for item in accept.split(",")]
    best = max([JSON, *extras.writes], key=lambda offer: _liking(offer, wishes))
    return best if _liking(best, wishes)[0] > 0 else JSON


def _wish(item: str) -> tuple[str, float]:
    """A media range of an Accept header with its quality."""
    media_range, *parameters = item.split(";")
    for parameter in parameters:
        found = QUALITY.fullmatch(parameter.strip().lower())
        if found:
            return media_range.strip().lower(), float(found[1])
    return media_range.strip().lower(), 1.0


def _liking(offer: str, wishes: list[tuple[str, float]]) -> tuple[float, int, int]:
    """How well a client likes a media type: quality, closeness, place in its list."""
    closeness = {offer: 2, f"{offer.partition('/')[0]}/*": 1, "*/*": 0}
    fitting = [
        (closeness[media_range], -place, quality)
        for place, (media_range, quality) in enumerate(wishes)
        if media_range in closeness
    ]
    close, place, quality = max(fitting, default=(0, 0, 0.0))
    return quality, close, place


def _answer(
    endpoint: Callable[[Request], Answer],
    read: Reader,
    write: Writer | None,
    body: bytes,
    query: Mapping[str, str],
) -> bytes:
    given = read(body, query)
    try:
        request = to_si(given)
        result = endpoint(request)
    except OutfeedError as error:
        raise problem_of(error, given) from error
    answer = to_display(result, given.units, given.bushel_weight()).model_copy(
        update={"versions": VERSIONS}
    )
    return write(request, answer) if write else to_json(answer.ordered(), inf_nan_mode="constants")
