"""Every method of the library in one list, for the docs, the answers and the service.

Each topic module lists its own methods as ``METHODS``; this module gathers
them, in the order of the job: air, grain, dryer, steering. Importing it is
cheap: no module here imports SciPy before it has to.
"""

from __future__ import annotations

from types import MappingProxyType

from outfeed import (
    ability,
    airflow,
    apportion,
    carbon,
    column_capacity,
    cooling,
    cooling_air,
    cost,
    cost_lost,
    fan,
    fuel,
    moist_air,
    moisture,
    outlook,
    queue,
    review,
    season,
    settled_pairs,
    settlement,
    shrink,
    sorption,
    spells,
    storage_charts,
    storage_life,
    storage_moisture,
    storage_use,
    thin_layer,
    weather,
)
from outfeed.dryer import balance, closures, column, fit, metering, plan
from outfeed.errors import UnknownName
from outfeed.methods import Method, by_id
from outfeed.steering import (
    belief,
    charts,
    clean,
    collapse,
    deming,
    exhaust,
    feedforward,
    fire,
    gain,
    inlet,
    lag,
    meter,
    meter_history,
    money,
    network,
    noise,
    oscillation,
    outliers,
    prior,
    published,
    resonance,
    runaway,
    setpoint,
    settling,
    slope,
    steady,
    steps,
    trees,
    trend,
    verdict,
)

__all__ = ["METHODS", "find_method", "methods_of", "topic_of", "topics"]

_MODULES = (
    moist_air,
    sorption,
    thin_layer,
    moisture,
    shrink,
    settlement,
    apportion,
    fuel,
    carbon,
    cooling,
    cooling_air,
    airflow,
    fan,
    storage_life,
    storage_charts,
    storage_use,
    storage_moisture,
    cost,
    cost_lost,
    review,
    settled_pairs,
    spells,
    weather,
    ability,
    column_capacity,
    queue,
    season,
    outlook,
    closures,
    balance,
    metering,
    plan,
    fit,
    column,
    clean,
    collapse,
    collapse,
    slope,
    inlet,
    steady,
    noise,
    oscillation,
    network,
    resonance,
    lag,
    belief,
    steps,
    prior,
    money,
    setpoint,
    fire,
    runaway,
    exhaust,
    gain,
    published,
    settling,
    trend,
    trees,
    verdict,
    meter,
    meter_history,
    outliers,
    charts,
    deming,
    feedforward,
)

METHODS: tuple[Method, ...] = tuple(
    dict.fromkeys(method for module in _MODULES for method in module.METHODS)
)
"""All methods, each once; a module may list those of the modules it builds on."""

_BY_ID = MappingProxyType(by_id(METHODS))


def find_method(method: str) -> Method:
    """One method by id.

    Parameters
    ----------
    method : str
        Its id.

    Returns
    -------
    Method
        The entry.

    Raises
    ------
    UnknownName
        No method has that id.
    """
    if method not in _BY_ID:
        raise UnknownName("method", method, tuple(_BY_ID), name="method")
    return _BY_ID[method]


def topic_of(method: Method) -> str:
    """The topic of a method: the first word of its id.

    Parameters
    ----------
    method : Method
        The method.

    Returns
    -------
    str
        For example "kinetics".
    """
    return method.id.partition(".")[0]


def topics() -> tuple[str, ...]:
    """All topics, in the order of the list.

    Returns
    -------
    tuple of str
        Each once.
    """
    return tuple(dict.fromkeys(topic_of(method) for method in METHODS))


def methods_of(topic: str) -> tuple[Method, ...]:
    """The methods of one topic.

    Parameters
    ----------
    topic : str
        One of `topics`.

    Returns
    -------
    tuple of Method
        In the order of the list.

    Raises
    ------
    UnknownName
        No method has that topic.
    """
    if topic not in topics():
        raise UnknownName("topic", topic, topics(), name="topic")
    return tuple(method for method in METHODS if topic_of(method) == topic)
