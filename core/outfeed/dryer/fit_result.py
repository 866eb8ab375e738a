"""What a fit to a real dryer answers: factors with their intervals, and every run judged."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from outfeed.arrays import FloatArray
from outfeed.dryer.estimate import Estimate
from outfeed.dryer.fit_model import Errors, Fitted, Prior


@dataclass(frozen=True, slots=True)
class Identified:
    """Whether the runs told a factor.

    Attributes
    ----------
    factor : str
        "rate" or "airflow".
    identified : bool
        Whether the runs know at least as much of it as the prior.
    left : float
        Spread after the runs over the prior's [-].
    why : str
        In one sentence.
    """

    factor: Literal["rate", "airflow"]
    identified: bool
    left: float
    why: str


@dataclass(frozen=True, slots=True)
class Residual:
    """One observation of one run against the fit.

    Attributes
    ----------
    kind : str
        "moisture" (wet basis [-]), "sensor", "column", "exhaust" ([degC]) or "heat" (logarithm of
        watts).
    index : int
        Which sensor or zone, from the top.
    observed, predicted : float
        As noted, and as the fitted column has it, without the lasting offset of a thermometer.
    residual : float
        Observed less predicted and offset.
    spread : float
        Standard deviation expected of it: the observation's error, the errors of the inputs
        through the column, and the discrepancy of the model.
    left_out : float
        Observed less what the prior and the *other* runs predict.
    left_out_spread : float
        Standard deviation expected of that.
    """

    kind: str
    index: int
    observed: float
    predicted: float
    residual: float
    spread: float
    left_out: float
    left_out_spread: float

    @property
    def score(self) -> float:
        """How many times its spread the observation is off what the other runs predict [-]."""
        return self.left_out / self.left_out_spread


@dataclass(frozen=True, slots=True)
class JudgedRun:
    """One run against the fit.

    Attributes
    ----------
    index : int
        Place in the list of runs, from zero.
    name : str
        The owner's name for it.
    solved : bool
        Whether its column settled; if not, the run has no part in the fit.
    chance_wrong : float
        Chance that something on its sheet is wrong [-].
    weight : float
        Weight in the fit, one for a run beyond doubt [-].
    suspicious : bool
        Whether it looks wrong.
    reason : str
        Why it is suspicious or was left out; empty otherwise.
    rate_off : float or None
        By what factor its discharge rate would have to be multiplied for the others to predict the
        outlet moisture it noted [-]; None where no rate within a factor of three would do.
    moisture : Residual or None
        Outlet moisture; None when its column did not settle.
    others : tuple of Residual
        Everything else it observed.
    """

    index: int
    name: str
    solved: bool
    chance_wrong: float
    weight: float
    suspicious: bool
    reason: str
    rate_off: float | None
    moisture: Residual | None
    others: tuple[Residual, ...]


@dataclass(frozen=True, slots=True)
class Offset:
    """Lasting offset of a thermometer, or of the heat, against the column model.

    Attributes
    ----------
    kind : str
        "sensor", "column", "exhaust" ([K]) or "heat" (logarithm [-]).
    index : int
        Which sensor or zone, from the top.
    value, spread : float
        Observed less predicted, and its standard deviation.
    """

    kind: str
    index: int
    value: float
    spread: float


@dataclass(frozen=True, slots=True)
class ComparedLaw:
    """A published law of drying, fitted to the runs.

    Attributes
    ----------
    kinetics : str
        Method id.
    rate_factor : float
        Multiplier that suits it best [-].
    discrepancy : float
        What it leaves of outlet moisture, wet basis, standard deviation [-].
    evidence : float
        Logarithm of how much better (above zero) or worse than the chosen law it lets the runs
        predict one another [-].
    chosen : bool
        Whether the fit rests on it.
    """

    kinetics: str
    rate_factor: float
    discrepancy: float
    evidence: float
    chosen: bool


@dataclass(frozen=True, slots=True)
class Fit:
    """What the runs say of a dryer.

    Attributes
    ----------
    fitted : Fitted
        To store and to pass on.
    rate_factor, airflow_factor : Estimate
        With 90 % intervals [-].
    laws : tuple of ComparedLaw
        Laws of drying that were fitted, the default first; one where the caller named it, the
        runs are too few to tell, or the default suits them.
    identified : tuple of Identified
        Rate, then airflow: whether the runs told it and why.
    runs : tuple of JudgedRun
        Run by run, in the order given.
    suspicious, unsolved : tuple of int
        Places of the runs that look wrong, and of those whose column did not settle.
    offsets : tuple of Offset
        Lasting offsets of the thermometers and the heat.
    prior : Prior
        What was believed before.
    errors : Errors
        Errors of the sheet that were assumed.
    moisture_rms : float
        Root mean square residual of outlet moisture, wet basis, weighted [-].
    foretold : float
        Standard deviation with which the true outlet moisture of a run like these is foretold,
        wet basis [-].
    foretold_noted : float
        The same of what the owner will note of it: with the errors of the meter and of what else
        stands on the sheet [-].
    worth : float
        How many runs, each its own measurement, the runs that settled are worth [-].
    spread_out : bool
        Whether they tell of more than one state of the dryer.
    steps : int
        Steps that the fit took.
    """

    fitted: Fitted
    rate_factor: Estimate
    airflow_factor: Estimate
    laws: tuple[ComparedLaw, ...]
    identified: tuple[Identified, ...]
    runs: tuple[JudgedRun, ...]
    suspicious: tuple[int, ...]
    unsolved: tuple[int, ...]
    offsets: tuple[Offset, ...]
    prior: Prior
    errors: Errors
    moisture_rms: float
    foretold: float
    foretold_noted: float
    worth: float
    spread_out: bool
    steps: int


@dataclass(frozen=True, slots=True, eq=False)
class Prediction:
    """Outlet moisture that a fitted dryer will show; numbers, or arrays over scenarios.

    Attributes
    ----------
    moisture : ndarray
        Expected, wet basis [-].
    spread : ndarray
        Standard deviation [-].
    low, high : ndarray
        Ends of the 90 % band [-].
    from_factors, from_model, from_errors : ndarray
        Parts of the spread [-]: the factors' uncertainty, the model's discrepancy, and the errors
        of the inputs and of the meter (zero for the truth at exact inputs).
    """

    moisture: FloatArray
    spread: FloatArray
    low: FloatArray
    high: FloatArray
    from_factors: FloatArray
    from_model: FloatArray
    from_errors: FloatArray
