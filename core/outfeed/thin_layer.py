"""How fast a kernel dries when the air around it does not change: published thin-layer kinetics.

Each law is offered in two forms. `moisture_ratio` is the printed one, moisture ratio against time
in a thin layer. `drying_constant` is the rate form that a column needs, where the air changes all
the way: ``dM/dt = -kappa (M - Me)`` with kappa taken at the equivalent time, the time in which the
printed law would have dried the kernel from its first moisture to what it holds now.

Published laws of one grain disagree up to threefold, most of all near 40 degC, where grain sits in
a mixed-flow dryer: hence the rate factor that a fit to a real dryer finds.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from outfeed.arrays import ArrayLike, FloatArray, as_floats
from outfeed.errors import OutOfRange, UnknownName
from outfeed.limits import GRAIN_TEMPERATURE, SENSIBLE, Range
from outfeed.methods import RECALLED, Method
from outfeed.numbers import ARRAYS, Numbers
from outfeed.rate_laws import (
    HOUR,
    MINUTE,
    THOMPSON_REFERENCE_MOISTURE,
    Exponential,
    Page,
    Thompson,
)

TIME = Range("drying time", 0.0, 1e8, "s", SENSIBLE)
MOISTURE_RATIO = Range("moisture ratio", 1e-9, 1.0, "", "definition")
MOISTURE_DB = Range("moisture, dry basis", 0.0, 1.5, "", SENSIBLE)
RELATIVE_HUMIDITY = Range("relative humidity", 0.0, 1.0, "", "definition")

TEST_AIR_SPEED = 0.3
"""Air speed at which laws with a velocity term are taken [m/s]: the least speed of a thin-layer
test in ASAE S448."""


def _misra_brooker(number: Numbers, T: Any, phi: Any, M_in: Any) -> tuple[Any, Any]:
    F = 1.8 * T + 32.0
    # The law holds from 2.2 degC; colder grain keeps that rate rather than a logarithm of nothing.
    k = number.exp(-7.1735 + 1.2793 * number.log(number.larger(F, 36.0)) + 0.1378 * TEST_AIR_SPEED)
    return k, 0.0811 * number.log(100.0 * phi) + 0.78 * M_in


def _li_morey(number: Numbers, T: Any, phi: Any, M_in: Any) -> tuple[Any, Any]:  # noqa: ARG001
    M0 = 100.0 * M_in
    k = 1.091e-2 + 2.767e-6 * T * T + 7.286e-6 * T * M0
    return k, 0.5375 + 1.141e-5 * M0 * M0 + 5.183e-5 * T * T


def _hutchinson_otten(number: Numbers, T: Any, phi: Any, M_in: Any) -> tuple[Any, Any]:  # noqa: ARG001
    return 0.0333 + 0.0003 * number.larger(T, 0.0), 0.3744 + 0.00916 * number.larger(T, 0.0) * phi


def _wang_singh(number: Numbers, T: Any, phi: Any, M_in: Any) -> tuple[Any, Any]:  # noqa: ARG001
    T = number.larger(T, 0.0)
    return 0.01579 + 0.0001746 * T - 0.01413 * phi, 0.6545 + 0.002425 * T + 0.07867 * phi


def _agrawal_singh(number: Numbers, T: Any, phi: Any, M_in: Any) -> tuple[Any, Any]:  # noqa: ARG001
    k = 0.02958 - 0.44565 * phi + 0.01215 * T
    n = 0.13365 + 1.93653 * phi - 1.77431 * phi * phi + 0.009468 * T
    # Below about 25 degC in damp air the printed polynomials cross zero, where no rate exists.
    return number.larger(k, 1e-3), number.larger(n, 0.3)


DIFFUSION = "kinetics.diffusion.henderson-pabis-1961"
THOMPSON = "kinetics.thompson-1968"
MISRA_BROOKER = "kinetics.page.misra-brooker-1980"
LI_MOREY = "kinetics.page.li-morey-1984"
HUTCHINSON_OTTEN = "kinetics.page.hutchinson-otten-1983"
OCALLAGHAN_WHEAT = "kinetics.exponential.ocallaghan-1971-wheat"
OCALLAGHAN_BARLEY = "kinetics.exponential.ocallaghan-1971-barley"
WANG_SINGH = "kinetics.page.wang-singh-1978"
AGRAWAL_SINGH = "kinetics.page.agrawal-singh-1977"

Law = Exponential | Thompson | Page

LAWS: dict[str, Law] = {
    # 5023 is in degrees Rankine, hence the 1.8.
    DIFFUSION: Exponential(0.54, 5023.0 / 1.8),
    THOMPSON: Thompson(),
    MISRA_BROOKER: Page(_misra_brooker, HOUR, (0.03, 0.83)),
    LI_MOREY: Page(_li_morey, MINUTE, (0.0, 1.0)),
    HUTCHINSON_OTTEN: Page(_hutchinson_otten, MINUTE, (0.34, 0.65)),
    OCALLAGHAN_WHEAT: Exponential(2000.0, 5094.0),
    OCALLAGHAN_BARLEY: Exponential(139.3, 4426.0),
    WANG_SINGH: Page(_wang_singh, MINUTE, (0.25, 0.95)),
    AGRAWAL_SINGH: Page(_agrawal_singh, HOUR, (0.19, 0.85)),
}
"""Each law by the id of its method."""


def _air(low: float, high: float, source: str) -> Range:
    return Range("temperature", low, high, "degC", source)


METHODS: tuple[Method, ...] = (
    Method(
        DIFFUSION,
        "Drying rate of corn from its own temperature, first-order",
        "Henderson S.M. & Pabis S. (1961) Grain drying theory I: temperature effect on drying "
        "coefficient. J. Agric. Eng. Res. 6:169-174",
        RECALLED,
        (),
        "Temperature in degrees Rankine; about 23 kJ/mol. Taken at the kernel's temperature.",
    ),
    Method(
        THOMPSON,
        "Thin-layer drying time of shelled corn at high temperature",
        "Thompson T.L., Peart R.M. & Foster G.H. (1968) Mathematical simulation of corn drying. "
        "Trans. ASAE 11:582-586",
        RECALLED,
        (_air(60.0, 149.0, "Thompson et al. 1968"),),
        "Below 60 degC an extrapolation; at 40 degC three times slower than diffusion.",
    ),
    Method(
        MISRA_BROOKER,
        "Thin-layer drying of shelled corn, Page form",
        "Misra M.K. & Brooker D.B. (1980) Thin-layer drying and rewetting equations for shelled "
        "yellow corn. Trans. ASAE 23:1254-1260; ASAE S448",
        RECALLED,
        (
            _air(2.2, 71.0, "Misra & Brooker 1980"),
            Range("relative humidity", 0.03, 0.83, "", "Misra & Brooker 1980"),
            Range("first moisture, dry basis", 0.18, 0.60, "", "Misra & Brooker 1980"),
        ),
        "Below 7 % relative humidity its tail is far too slow.",
    ),
    Method(
        LI_MOREY,
        "Thin-layer drying of yellow dent corn, Page form",
        "Li H. & Morey R.V. (1984) Thin-layer drying of yellow dent corn. Trans. ASAE 27:581-585",
        RECALLED,
        (
            _air(27.0, 116.0, "Li & Morey 1984"),
            Range("first moisture, dry basis", 0.23, 0.36, "", "Li & Morey 1984"),
        ),
        "Dries three to four times faster than the other corn laws at 71 degC.",
    ),
    Method(
        HUTCHINSON_OTTEN,
        "Thin-layer drying of soybean, Page form",
        "Hutchinson D. & Otten L. (1983) Thin-layer air drying of soybeans and white beans. "
        "J. Food Technol. 18:507-522; ASAE S448",
        RECALLED,
        (
            _air(32.0, 49.0, "Hutchinson & Otten 1983"),
            Range("relative humidity", 0.34, 0.65, "", "Hutchinson & Otten 1983"),
        ),
    ),
    Method(
        OCALLAGHAN_WHEAT,
        "Drying rate of wheat, first-order",
        "O'Callaghan J.R., Menzies D.J. & Bailey P.H. (1971) Digital simulation of agricultural "
        "drier performance. J. Agric. Eng. Res. 16:223-244",
        RECALLED,
    ),
    Method(
        OCALLAGHAN_BARLEY,
        "Drying rate of barley, first-order",
        "O'Callaghan J.R., Menzies D.J. & Bailey P.H. (1971) J. Agric. Eng. Res. 16:223-244, "
        "after Boyce",
        RECALLED,
    ),
    Method(
        WANG_SINGH,
        "Thin-layer drying of medium-grain rough rice, Page form",
        "Wang C.Y. & Singh R.P. (1978) A single layer drying equation for rough rice. ASAE paper "
        "78-3001",
        RECALLED,
        (
            _air(30.0, 55.0, "Wang & Singh 1978"),
            Range("relative humidity", 0.25, 0.95, "", "Wang & Singh 1978"),
        ),
    ),
    Method(
        AGRAWAL_SINGH,
        "Thin-layer drying of short-grain rough rice, Page form",
        "Agrawal Y.C. & Singh R.P. (1977) Thin-layer drying studies on short-grain rough rice. "
        "ASAE paper 77-3531",
        RECALLED,
        (
            _air(32.0, 51.0, "Agrawal & Singh 1977"),
            Range("relative humidity", 0.19, 0.85, "", "Agrawal & Singh 1977"),
        ),
    ),
)


def law(method: str) -> Law:
    """The thin-layer law with a given method id.

    Parameters
    ----------
    method : str
        Method id.

    Returns
    -------
    Exponential, Thompson or Page
        The law.

    Raises
    ------
    UnknownName
        No such law.
    """
    try:
        return LAWS[method]
    except KeyError:
        raise UnknownName("drying kinetics", method, tuple(LAWS), name="kinetics") from None


def moisture_ratio(
    method: str,
    time: ArrayLike,
    temperature: ArrayLike,
    *,
    initial_moisture_db: ArrayLike = 0.3,
    relative_humidity: ArrayLike = 0.3,
) -> FloatArray:
    """Moisture ratio of a thin layer after some time, as printed.

    Parameters
    ----------
    method : str
        Id of the law.
    time : array_like
        Time since the start [s], from zero.
    temperature : array_like
        Temperature of the air and the grain [degC].
    initial_moisture_db : array_like
        First moisture, dry basis [-]; used by laws that depend on it.
    relative_humidity : array_like
        Relative humidity of the air [-]; used by laws that depend on it.

    Returns
    -------
    ndarray
        (M - Me) / (M0 - Me) [-], broadcast shape.

    Raises
    ------
    UnknownName
        No such law.
    OutOfRange
        A value outside the sensible domain.

    References
    ----------
    .. [1] `METHODS`, by id.
    """
    inputs = _checked(temperature, relative_humidity, initial_moisture_db)
    t, *state = as_floats(TIME.check(time, "time"), *inputs)
    return np.asarray(law(method).ratio(t, *state))[()]


def equivalent_time(
    method: str,
    ratio: ArrayLike,
    temperature: ArrayLike,
    *,
    initial_moisture_db: ArrayLike = 0.3,
    relative_humidity: ArrayLike = 0.3,
) -> FloatArray:
    """Time in which a law reaches a moisture ratio; the inverse of `moisture_ratio`.

    Parameters
    ----------
    method : str
        Id of the law.
    ratio : array_like
        Moisture ratio [-], above zero, at most one.
    temperature : array_like
        Temperature of the air and the grain [degC].
    initial_moisture_db : array_like
        First moisture, dry basis [-].
    relative_humidity : array_like
        Relative humidity of the air [-].

    Returns
    -------
    ndarray
        Time [s], broadcast shape.

    Raises
    ------
    UnknownName
        No such law.
    OutOfRange
        A value outside the sensible domain.
    """
    inputs = _checked(temperature, relative_humidity, initial_moisture_db)
    r, *state = as_floats(MOISTURE_RATIO.check(ratio, "ratio"), *inputs)
    return np.asarray(law(method).time(r, *state))[()]


def drying_constant(
    method: str,
    temperature: ArrayLike,
    *,
    moisture_db: ArrayLike,
    equilibrium_moisture_db: ArrayLike,
    initial_moisture_db: ArrayLike,
    relative_humidity: ArrayLike = 0.3,
) -> FloatArray:
    """Drying constant kappa in dM/dt = -kappa (M - Me), at the equivalent time.

    Parameters
    ----------
    method : str
        Id of the law.
    temperature : array_like
        Temperature of the grain [degC].
    moisture_db : array_like
        Moisture now, dry basis [-].
    equilibrium_moisture_db : array_like
        Equilibrium moisture with the air, dry basis [-].
    initial_moisture_db : array_like
        Moisture at which drying began, dry basis [-].
    relative_humidity : array_like
        Relative humidity of the air at the grain [-].

    Returns
    -------
    ndarray
        kappa [1/s], broadcast shape.

    Raises
    ------
    UnknownName
        No such law.
    OutOfRange
        A value outside the sensible domain.
    """
    T, phi, M0 = _checked(temperature, relative_humidity, initial_moisture_db)
    M = MOISTURE_DB.check(moisture_db, "moisture_db")
    Me = MOISTURE_DB.check(equilibrium_moisture_db, "equilibrium_moisture_db")
    _above_reference(method, M0)
    return np.asarray(law(method).rate(ARRAYS)(*as_floats(T, phi, M, Me, M0)))[()]


def _above_reference(method: str, first: FloatArray) -> None:
    if method == THOMPSON and not np.all(first > THOMPSON_REFERENCE_MOISTURE):
        raise OutOfRange(
            "moisture at which drying began",
            float(np.min(first)),
            (THOMPSON_REFERENCE_MOISTURE, MOISTURE_DB.high),
            name="initial_moisture_db",
            method=method,
        )


def _checked(
    temperature: ArrayLike, relative_humidity: ArrayLike, initial_moisture_db: ArrayLike
) -> tuple[FloatArray, FloatArray, FloatArray]:
    return (
        GRAIN_TEMPERATURE.check(temperature, "temperature"),
        RELATIVE_HUMIDITY.check(relative_humidity, "relative_humidity"),
        MOISTURE_DB.check(initial_moisture_db, "initial_moisture_db"),
    )
