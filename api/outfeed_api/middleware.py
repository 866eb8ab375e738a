"""ASGI middleware around every request: id, limits on body and number, log line, metrics."""

from __future__ import annotations

import asyncio
import logging
import re
import time
import uuid
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass

from starlette.requests import ClientDisconnect
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from outfeed_api.metrics import Metrics
from outfeed_api.problems import (
    BUSY,
    CLIENT_LEFT,
    INTERNAL,
    TOO_LARGE,
    UNSUPPORTED_MEDIA_TYPE,
    ProblemError,
    problem_response,
)
from outfeed_api.settings import Settings

LOG = logging.getLogger("outfeed_api.request")
_SAFE_ID = re.compile(r"^[A-Za-z0-9._-]{1,64}$")

SHORT_BODY = 1_000_000  # bytes; what is asked beside a running dryer is shorter, and always read

SECURITY_HEADERS = [
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
]


class Edge:
    """The outermost layer: nothing leaves without an id, nothing fails without a problem answer."""

    def __init__(
        self,
        app: ASGIApp,
        settings: Settings,
        metrics: Metrics,
        logs: Mapping[str, Collection[str]],
    ) -> None:
        """`logs`: from path to the media types whose bodies may be as large as a log."""
        self._app = app
        self._settings = settings
        self._metrics = metrics
        self._logs = logs
        self._in_flight = 0
        self._large_in_flight = 0
        self._held = 0

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one connection event."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        seen = _Seen(scope, send)
        if seen.head:
            scope = {**scope, "method": "GET"}
        self._in_flight += 1
        try:
            await self._serve(scope, receive, seen)
        finally:
            self._in_flight -= 1
            self._large_in_flight -= seen.large
            self._held -= seen.bytes_in
            self._report(scope, seen)

    async def _serve(self, scope: Scope, receive: Receive, seen: _Seen) -> None:
        try:
            if self._in_flight > self._settings.max_in_flight and "/health/" not in scope["path"]:
                raise ProblemError(BUSY, "too many requests at once", headers={"Retry-After": "2"})
            body = _BoundedBody(receive, seen, self._bound(scope), self._allow_large, self._hold)
            body.refuse_declared(scope)
            await self._app(scope, body, seen.send)
        except ProblemError as problem:
            await seen.answer(problem, scope, receive)
        except ClientDisconnect:
            await seen.answer(ProblemError(CLIENT_LEFT, "the body ended early"), scope, receive)
        except asyncio.CancelledError:  # only a shutdown past its limit cancels a request
            ending = ProblemError(
                BUSY, "the service is shutting down", headers={"Retry-After": "5"}
            )
            await seen.answer(ending, scope, receive)
        except Exception as error:
            LOG.exception("unhandled %s", type(error).__name__, extra={"request_id": seen.id})
            if seen.status == 0:
                await seen.answer(ProblemError(INTERNAL, "an unexpected failure"), scope, receive)

    def _bound(self, scope: Scope) -> _Bound:
        usual = self._settings.max_body_bytes
        large = _media_type(scope) in self._logs.get(scope["path"], ())
        return _Bound(usual, max(usual, self._settings.max_log_bytes) if large else usual)

    def _allow_large(self, seen: _Seen) -> None:
        """Count a body past the usual limit, or refuse it while another is being read."""
        if seen.large:
            return
        if self._large_in_flight >= self._settings.max_large:
            raise ProblemError(
                BUSY, "another large log is being read", headers={"Retry-After": "5"}
            )
        seen.large = True
        self._large_in_flight += 1

    def _hold(self, seen: _Seen, size: int) -> None:
        """Count bytes that came in, or refuse a long body while others fill the memory."""
        self._held += size
        if self._held > self._settings.max_held_bytes and seen.bytes_in > SHORT_BODY:
            raise ProblemError(BUSY, "too much is being sent at once", headers={"Retry-After": "5"})

    def _report(self, scope: Scope, seen: _Seen) -> None:
        elapsed = time.perf_counter() - seen.started
        route = getattr(scope.get("route"), "path", "-")
        method = "HEAD" if seen.head else scope["method"]
        self._metrics.observe(method, route, seen.status, elapsed)
        LOG.info(
            "request",
            extra={
                "request_id": seen.id,
                "method": method,
                "route": route,
                "status": seen.status,
                "milliseconds": round(elapsed * 1000, 2),
                "bytes_in": seen.bytes_in,
            },
        )


class _Seen:
    """What is known of one exchange, and its way out."""

    def __init__(self, scope: Scope, send: Send) -> None:
        self.started = time.perf_counter()
        self.id = _request_id(scope)
        self.status = 0
        self.bytes_in = 0
        self.large = False
        self.head = scope["method"] == "HEAD"
        self._send = send
        scope.setdefault("state", {})["request_id"] = self.id

    async def send(self, message: Message) -> None:
        """Pass a message on, with the request id and the fixed headers added."""
        if message["type"] == "http.response.start":
            self.status = message["status"]
            headers = list(message.get("headers", []))
            message = {
                **message,
                "headers": [*headers, (b"x-request-id", self.id.encode()), *SECURITY_HEADERS],
            }
        elif self.head:
            message = {**message, "body": b""}
        await self._send(message)

    async def answer(self, problem: ProblemError, scope: Scope, receive: Receive) -> None:
        """Answer with a problem, unless the answer has begun."""
        if self.status == 0:
            await problem_response(problem, self.id)(scope, receive, self.send)


@dataclass(frozen=True, slots=True)
class _Bound:
    """Bytes of a body: how many count as large, and how many are too many."""

    usual: int
    most: int


class _BoundedBody:
    """A receive channel that refuses a body past its limit."""

    def __init__(
        self,
        receive: Receive,
        seen: _Seen,
        bound: _Bound,
        allow_large: Callable[[_Seen], None],
        hold: Callable[[_Seen, int], None],
    ) -> None:
        self._receive = receive
        self._seen = seen
        self._bound = bound
        self._allow_large = allow_large
        self._hold = hold

    def refuse_declared(self, scope: Scope) -> None:
        """Refuse by Content-Length and Content-Encoding, before a byte of the body is read."""
        for name, value in scope["headers"]:
            if name == b"content-encoding" and value.strip().lower() not in (b"", b"identity"):
                detail = "a compressed body is not read here: send it as it is"
                plain = {"Accept-Encoding": "identity"}
                raise ProblemError(UNSUPPORTED_MEDIA_TYPE, detail, headers=plain)
            if name == b"content-length" and value.isdigit():
                self._check(int(value))

    async def __call__(self) -> Message:
        message = await self._receive()
        if message["type"] == "http.request":
            size = len(message.get("body", b""))
            self._seen.bytes_in += size
            self._hold(self._seen, size)
            self._check(self._seen.bytes_in)
        return message

    def _check(self, size: int) -> None:
        if size > self._bound.most:
            detail = f"the body may hold at most {self._bound.most} bytes"
            raise ProblemError(TOO_LARGE, detail)
        if size > self._bound.usual:
            self._allow_large(self._seen)


def _media_type(scope: Scope) -> str:
    for name, value in scope["headers"]:
        if name == b"content-type":
            text: str = value.decode("latin-1")
            return text.partition(";")[0].strip().lower()
    return ""


def _request_id(scope: Scope) -> str:
    """The caller's request id when it is a harmless one, else a new one."""
    for name, value in scope["headers"]:
        text: str = value.decode("latin-1")
        if name == b"x-request-id" and _SAFE_ID.match(text):
            return text
    return uuid.uuid4().hex
