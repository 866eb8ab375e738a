"""The application: routes, problem answers, contract, probes.

Start it with ``python -m outfeed_api`` or point an ASGI server at
``outfeed_api.app:create_app`` (a factory).
"""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from http import HTTPStatus
from typing import Any

from fastapi import FastAPI
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from outfeed import __version__
from outfeed.grains import grain_ids, load_grain
from outfeed_api.contract import openapi
from outfeed_api.metrics import Metrics
from outfeed_api.middleware import Edge
from outfeed_api.problems import (
    KINDS,
    METHOD_NOT_ALLOWED,
    NOT_FOUND,
    Kind,
    ProblemError,
    problem_response,
)
from outfeed_api.route import ComputeRoute
from outfeed_api.routes import ROUTERS
from outfeed_api.settings import Settings, load_settings
from outfeed_api.work import Workshop


def create_app(settings: Settings | None = None) -> FastAPI:
    """A new application.

    Parameters
    ----------
    settings : Settings, optional
        Defaults to those of the environment.

    Returns
    -------
    FastAPI
        The ASGI application.
    """
    settings = load_settings() if settings is None else settings
    _load_catalogue()
    metrics = Metrics()
    app = FastAPI(
        title="Outfeed",
        version=__version__,
        openapi_url=None,
        redirect_slashes=False,
        lifespan=_lifespan,
        telemetry={"tracing": False, "metrics": False, "logs": False},
        exception_handlers={HTTPException: _http_problem, ProblemError: _problem},
    )
    app.state.settings = settings
    app.state.metrics = metrics
    app.state.draining = False
    app.state.workshop = Workshop(settings)
    for router in ROUTERS:
        app.router.routes.extend(router.routes)  # flat: dispatch costs half of an inclusion
    logs = {
        route.path: route.extras.logs for route in app.routes if isinstance(route, ComputeRoute)
    }
    app.add_middleware(Edge, settings=settings, metrics=metrics, logs=logs)
    app.openapi = lambda: openapi(app)  # type: ignore[method-assign]
    return app


def _load_catalogue() -> None:
    """Read every data file now, so that no request ever waits for the disk."""
    for grain in grain_ids():
        load_grain(grain)


@asynccontextmanager
async def _lifespan(app: FastAPI) -> AsyncIterator[None]:
    app.state.workshop = Workshop(app.state.settings)  # a new one: an app may start twice
    yield
    app.state.workshop.close()


async def _problem(request: Request, error: Exception) -> Response:
    assert isinstance(error, ProblemError)
    return problem_response(error, request.state.request_id)


async def _http_problem(request: Request, error: Exception) -> Response:
    """The framework's own refusals (unknown path, wrong method) as problems."""
    assert isinstance(error, HTTPException)
    details = {404: "no resource has this path", 405: "see the Allow header for what it takes"}
    status = error.status_code
    by_status: dict[int, Kind] = {kind.status: kind for kind in reversed(KINDS)}
    by_status |= {404: NOT_FOUND, 405: METHOD_NOT_ALLOWED}
    phrase = HTTPStatus(status).phrase
    kind = by_status.get(status, Kind(phrase.lower().replace(" ", "-"), status, phrase))
    headers: dict[str, Any] = dict(error.headers or {})
    if headers.get("Allow") == "GET":
        headers["Allow"] = "GET, HEAD"  # the middleware answers HEAD as GET without its body
    problem = ProblemError(kind, details.get(status, phrase), headers=headers)
    return problem_response(problem, request.state.request_id)
