"""The routes: one module per capability, its models and its route side by side."""

from __future__ import annotations

from fastapi import APIRouter

from outfeed_api.routes import service

ROUTERS: tuple[APIRouter, ...] = (service.router,)
