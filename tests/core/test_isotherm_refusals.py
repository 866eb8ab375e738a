"""Refusals worked out for many rows at once say what one row alone would be told."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from outfeed import OutOfRange
from outfeed.grains import load_grain
from outfeed.sorption import (
    Isotherm,
    air_over_grain,
    equilibrium_moisture,
    isotherms_of,
    refusals,
    refusals_over_grain,
)

CORN = isotherms_of(load_grain("corn-yellow-dent"))
SOYBEAN = isotherms_of(load_grain("soybean"))
ISOTHERMS = st.sampled_from(CORN + SOYBEAN)
TEMPERATURES = st.floats(-60.0, 170.0)


def _alone_to_grain(isotherm: Isotherm, warm: float, humid: float) -> OutOfRange | None:
    try:
        equilibrium_moisture(isotherm, warm, humid)
    except OutOfRange as error:
        return error
    return None


def _alone_to_air(isotherm: Isotherm, warm: float, moisture: float) -> OutOfRange | None:
    try:
        air_over_grain(isotherm, warm, moisture)
    except OutOfRange as error:
        return error
    return None


def _told(error: OutOfRange | None) -> tuple[object, ...] | None:
    if error is None:
        return None
    ends = tuple(round(end, 12) for end in error.allowed)
    return error.quantity, round(error.value, 12), ends, error.name, error.unit, error.method


@given(ISOTHERMS, TEMPERATURES, st.floats(-0.2, 1.2))
def test_a_row_of_air_is_refused_in_company_as_it_is_alone(
    isotherm: Isotherm, warm: float, humid: float
) -> None:
    rows = refusals(isotherm, [20.0, warm], [0.5, humid])
    assert rows[0] is None
    assert _told(rows[1]) == _told(_alone_to_grain(isotherm, warm, humid))


@given(ISOTHERMS, TEMPERATURES, st.floats(-0.2, 1.7))
def test_a_row_of_grain_is_refused_in_company_as_it_is_alone(
    isotherm: Isotherm, warm: float, moisture: float
) -> None:
    alone = _alone_to_air(isotherm, warm, moisture)
    if alone is not None:
        (row,) = refusals_over_grain(isotherm, warm, moisture)
        assert _told(row) == _told(alone)


@pytest.mark.parametrize("moisture", [0.0, 1e-9])
def test_bone_dry_grain_is_told_that_its_air_has_no_dew_point(moisture: float) -> None:
    (row,) = refusals_over_grain(CORN[0], np.array([20.0]), np.array([moisture]))
    assert row is not None
    assert "dew point" in row.quantity
