"""The routes: one module per capability, its models and its route side by side."""

from __future__ import annotations

from fastapi import APIRouter

from outfeed_api.routes import (
    catalogue,
    cooling,
    equilibrium,
    heat_limits,
    moist_air,
    service,
    setpoint_advice,
    settlement,
    settling,
)

ROUTERS: tuple[APIRouter, ...] = (
    catalogue.router,
    cooling.router,
    equilibrium.router,
    heat_limits.router,
    moist_air.router,
    setpoint_advice.router,
    settlement.router,
    settling.router,
    service.router,
)
