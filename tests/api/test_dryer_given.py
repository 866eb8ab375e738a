"""What a described dryer refuses before any computation."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from outfeed_api.routes.dryer_models import DryerGiven

DRYER = {"kind": "mixed-flow", "fuel": "electricity"}


def zones():
    return [{"role": "heated", "hold_up": 10.0, "plenum_temperature": 90.0}]


def test_a_flame_of_electricity_is_refused():
    with pytest.raises(ValidationError, match="electricity has no flame"):
        DryerGiven.model_validate(DRYER | {"zones": zones(), "burner": "direct-fired"})


@pytest.mark.parametrize("burner", [{}, {"burner": "indirect"}])
def test_electric_heat_is_accepted_otherwise(burner):
    assert DryerGiven.model_validate(DRYER | {"zones": zones()} | burner).fuel == "electricity"
