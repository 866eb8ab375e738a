"""The routes: one module per capability, its models and its route side by side."""

from __future__ import annotations

from fastapi import APIRouter

from outfeed_api.routes import (
    catalogue,
    column_profile,
    column_response,
    cooling,
    discharge_rate,
    dryer_fit,
    drying_cost,
    equilibrium,
    fan,
    gain_advice,
    heat_limits,
    meter_check,
    moist_air,
    run_review,
    season_plan,
    service,
    setpoint_advice,
    settlement,
    settling,
    shrink,
    start_plan,
    storage_life,
    trend,
    weather_outlook,
)

ROUTERS: tuple[APIRouter, ...] = (
    catalogue.router,
    cooling.router,
    discharge_rate.router,
    column_profile.router,
    column_response.router,
    start_plan.router,
    dryer_fit.router,
    equilibrium.router,
    heat_limits.router,
    meter_check.router,
    moist_air.router,
    run_review.router,
    season_plan.router,
    setpoint_advice.router,
    settlement.router,
    settling.router,
    trend.router,
    gain_advice.router,
    shrink.router,
    fan.router,
    drying_cost.router,
    storage_life.router,
    weather_outlook.router,
    service.router,
)
