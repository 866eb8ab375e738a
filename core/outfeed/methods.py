"""What a method is, so that every number can say where it came from.

A `Method` is a published (or plainly unpublished) way of getting a quantity.
Each topic module lists its own; `outfeed.registry` gathers them.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from outfeed.limits import Range

READ = "read"
RECALLED = "recalled"
REPRODUCED = "recalled; reproduced against a published table"
SECOND_SOURCE = "recalled; a second public source agrees"
COMMON_PRACTICE = "common practice, no source"
DERIVED = "derived"


@dataclass(frozen=True, slots=True)
class Method:
    """A way of computing one quantity.

    Attributes
    ----------
    id : str
        Stable name, dotted: topic, form, constant set (``emc.oswin-modified.d245-5``).
    title : str
        What it computes, in words.
    source : str
        Citation.
    known : str
        How the constants are known: "read", "recalled", "recalled; reproduced against a
        published table", "recalled; a second public source agrees", "derived" or
        "common practice, no source".
    valid : tuple of Range
        Published range of its inputs; empty when the source states none.
    note : str
        What a user must know before relying on it.
    """

    id: str
    title: str
    source: str
    known: str
    valid: tuple[Range, ...] = ()
    note: str = ""


@dataclass(frozen=True, slots=True)
class MethodUse:
    """A method as it was used in one answer.

    Attributes
    ----------
    method : Method
        Which one.
    outside : tuple of str
        Names of the quantities that lay outside its published range; empty when inside.
    """

    method: Method
    outside: tuple[str, ...] = ()

    @property
    def inside_range(self) -> bool:
        """Whether every input lay in the published range."""
        return not self.outside


def use(method: Method, **inputs: object) -> MethodUse:
    """Record the use of a method, naming the inputs outside its published range.

    Parameters
    ----------
    method : Method
        The method used.
    **inputs : array_like
        The inputs, keyed by the `Range.quantity` with spaces and hyphens as underscores.

    Returns
    -------
    MethodUse
        With the quantities that left the range.
    """
    outside = tuple(
        limit.quantity
        for limit in method.valid
        if (key := _key(limit.quantity)) in inputs and not limit.touches(inputs[key]).all()  # type: ignore[arg-type]
    )
    return MethodUse(method, outside)


def by_id(methods: Iterable[Method]) -> dict[str, Method]:
    """Index methods by id, refusing a duplicate.

    Parameters
    ----------
    methods : iterable of Method
        The methods.

    Returns
    -------
    dict
        From id to method, in the order given.

    Raises
    ------
    ValueError
        Two methods that share an id.
    """
    index: dict[str, Method] = {}
    for method in methods:
        if method.id in index:
            raise ValueError(f"two methods share the id {method.id}")
        index[method.id] = method
    return index


def _key(quantity: str) -> str:
    return quantity.replace(" ", "_").replace("-", "_").replace(",", "")
