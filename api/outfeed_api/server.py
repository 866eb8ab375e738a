"""The process: uvicorn with our logging, and a shutdown that drains.

On SIGTERM readiness goes off first, then, after `drain_delay`, the server stops
taking connections and gives those in flight `drain_limit` seconds.
"""

from __future__ import annotations

import asyncio
import contextlib
import signal
from types import FrameType

import uvicorn
from fastapi import FastAPI

from outfeed_api import logs
from outfeed_api.app import create_app
from outfeed_api.settings import Settings

IDLE_S = 75
"""How long an idle connection stays open: longer than the 60 s for which balancers commonly keep
one, or they send a request into a connection that is just being closed. Common practice."""


class DrainingServer(uvicorn.Server):
    """A uvicorn server that tells its balancer before it stops listening."""

    def __init__(self, config: uvicorn.Config, app: FastAPI, delay: float) -> None:
        super().__init__(config)
        self._service = app
        self._delay = delay

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        """First signal: drain, then stop. Second signal: stop at once."""
        if self._service.state.draining or sig == signal.SIGINT or self._delay == 0:
            super().handle_exit(sig, frame)
            return
        self._service.state.draining = True
        with contextlib.suppress(RuntimeError):
            loop = asyncio.get_running_loop()
            loop.call_later(self._delay, super().handle_exit, sig, frame)
            return
        super().handle_exit(sig, frame)


def serve(settings: Settings) -> None:
    """Serve until told to stop.

    Parameters
    ----------
    settings : Settings
        Address, limits and drain times.
    """
    logs.configure(settings.log_level)
    app = create_app(settings)
    DrainingServer(configuration(app, settings), app, settings.drain_delay).run()


def configuration(app: FastAPI, settings: Settings) -> uvicorn.Config:
    """How the server runs an application.

    Parameters
    ----------
    app : FastAPI
        The application.
    settings : Settings
        Address and drain time.

    Returns
    -------
    uvicorn.Config
        For `DrainingServer`.
    """
    return uvicorn.Config(
        app,
        host=settings.host,
        port=settings.port,
        loop="uvloop",
        http="httptools",
        access_log=False,
        log_config=None,
        server_header=False,
        timeout_keep_alive=IDLE_S,
        timeout_graceful_shutdown=int(settings.drain_limit),
    )
