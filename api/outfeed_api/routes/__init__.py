"""The routes: one module per capability, its models and its route side by side."""

from __future__ import annotations

from fastapi import APIRouter

from outfeed_api.routes import (
    catalogue,
    heat_limits,
    moist_air,
    service,
    setpoint_advice,
    settlement,
)

ROUTERS: tuple[APIRouter, ...] = (
    catalogue.router,
    heat_limits.router,
    moist_air.router,
    setpoint_advice.router,
    settlement.router,
    service.router,
)
