"""What the library raises when it will not answer.

::

    OutfeedError
    ├── OutOfRange    (ValueError)       a value outside what the method can stand behind
    ├── Inconsistent  (ValueError)       inputs that contradict each other
    ├── UnknownName   (LookupError)      a grain, method or fuel that does not exist
    ├── NotPublished  (LookupError)      it exists, but nobody published this value for it
    └── NotConverged  (ArithmeticError)  an iteration that did not end; carries its last bracket

Every error names the argument at fault as ``name``, so a caller can point at it.
"""

from __future__ import annotations

from collections.abc import Callable


class OutfeedError(Exception):
    """Root of everything the library raises on purpose."""


class OutOfRange(OutfeedError, ValueError):
    """A value lies outside the range in which the method may be used.

    Parameters
    ----------
    quantity : str
        What the value is, in words ("dry-bulb temperature").
    value : float
        The offending value, in `unit`.
    allowed : tuple of float
        Lowest and highest value accepted, in `unit`.
    unit : str
        SI unit of `value` and `allowed`; empty when dimensionless.
    name : str
        Name of the argument at fault.
    index : int, optional
        Flat position of the first offending element when the argument was an array.
    method : str, optional
        Id of the method whose range was left.
    beyond : str
        What a value outside may mean, where a reader must know.
    """

    def __init__(
        self,
        quantity: str,
        value: float,
        allowed: tuple[float, float],
        *,
        unit: str = "",
        name: str = "",
        index: int | None = None,
        method: str | None = None,
        beyond: str = "",
    ) -> None:
        self.quantity = quantity
        self.value = value
        self.allowed = allowed
        self.unit = unit
        self.name = name
        self.index = index
        self.method = method
        self.beyond = beyond
        where = f" (element {index})" if index is not None else ""
        by = f" for {method}" if method else ""
        tail = f" {unit}" if unit else ""
        means = f"; {beyond}" if beyond else ""
        super().__init__(
            f"{quantity} {value:g}{tail}{where} is outside "
            f"{allowed[0]:g} to {allowed[1]:g}{tail}{by}{means}"
        )


class Inconsistent(OutfeedError, ValueError):
    """Two or more inputs cannot all be true.

    Parameters
    ----------
    message : str
        What contradicts what, in a sentence; `{}` where a measured value belongs.
    names : tuple of str
        The arguments that take part.
    values : tuple of tuple
        The measured values in their order, each with its SI unit.
    """

    def __init__(
        self, message: str, *names: str, values: tuple[tuple[float, str], ...] = ()
    ) -> None:
        self.message = message
        self.names = names
        self.name = names[0] if names else ""
        self.values = values
        super().__init__(self.said(lambda value, unit: f"{value:g} {unit}"))

    def said(self, speak: Callable[[float, str], str]) -> str:
        """The message for a reader who counts in other units.

        Parameters
        ----------
        speak : callable
            From a value and its SI unit to text.

        Returns
        -------
        str
            The sentence.
        """
        head, *tails = self.message.split("{}", len(self.values))
        spoken = (speak(*measured) for measured in self.values)
        return head + "".join(text + tail for text, tail in zip(spoken, tails, strict=True))


class UnknownName(OutfeedError, LookupError):
    """No such grain, method, fuel or other named thing.

    Parameters
    ----------
    kind : str
        What was looked up ("grain").
    value : str
        The name that was not found.
    known : tuple of str
        The names that exist.
    name : str
        Name of the argument at fault.
    """

    def __init__(self, kind: str, value: str, known: tuple[str, ...], *, name: str = "") -> None:
        self.kind = kind
        self.value = value
        self.known = known
        self.name = name or kind
        super().__init__(f"no {kind} named {value!r}; known: {', '.join(known)}")


class NotPublished(OutfeedError, LookupError):
    """The catalogue holds no published value of this quantity for this grain.

    Parameters
    ----------
    quantity : str
        What is missing ("drying kinetics").
    grain : str
        Id of the grain.
    name : str
        Name of the argument that would have needed it.
    """

    def __init__(self, quantity: str, grain: str, *, name: str = "grain") -> None:
        self.quantity = quantity
        self.grain = grain
        self.name = name
        super().__init__(f"no published {quantity} for {grain} in the catalogue")


class NotConverged(OutfeedError, ArithmeticError):
    """An iteration reached its bound without meeting its tolerance.

    Parameters
    ----------
    what : str
        What was being solved for.
    bracket : tuple of float
        The last interval known to hold the answer.
    tolerance : float
        What was asked for.
    """

    def __init__(self, what: str, bracket: tuple[float, float], tolerance: float) -> None:
        self.what = what
        self.bracket = bracket
        self.tolerance = tolerance
        self.name = ""
        super().__init__(
            f"{what} did not converge to {tolerance:g}; it lies within "
            f"{bracket[0]:g} to {bracket[1]:g}"
        )
