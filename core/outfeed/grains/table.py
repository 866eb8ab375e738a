"""Strict reading of one table of a catalogue file.

A typing slip in a data file must not pass in silence: every key is either
asked for or refused, every type is checked, and the message names file,
table and key in words an agronomist can act on.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from outfeed import methods

KNOWN = (
    methods.READ,
    methods.RECALLED,
    methods.REPRODUCED,
    methods.SECOND_SOURCE,
    methods.COMMON_PRACTICE,
    methods.DERIVED,
)
"""What the key `known` may say."""


class CatalogueError(ValueError):
    """A data file of the catalogue is wrong; the message says where and how."""


class Table:
    """One TOML table, read key by key; `finish` refuses what was never asked for.

    Parameters
    ----------
    content : dict
        The table as parsed.
    place : str
        File and table, for messages ("corn-yellow-dent.toml, isotherms 1").
    """

    def __init__(self, content: dict[str, Any], place: str) -> None:
        self._content = dict(content)
        self.place = place

    def fail(self, message: str) -> CatalogueError:
        """An error that names this table.

        Parameters
        ----------
        message : str
            What is wrong.

        Returns
        -------
        CatalogueError
            For the caller to raise.
        """
        return CatalogueError(f"{self.place}: {message}")

    def has(self, key: str) -> bool:
        """Whether a key is present and not yet read.

        Parameters
        ----------
        key : str
            The key.

        Returns
        -------
        bool
            True when it is there.
        """
        return key in self._content

    def _take(self, key: str) -> Any:
        if key not in self._content:
            raise self.fail(f"the key '{key}' is missing")
        return self._content.pop(key)

    def text(self, key: str, default: str | None = None) -> str:
        """A text; refused when empty.

        Parameters
        ----------
        key : str
            The key.
        default : str, optional
            Returned when the key is absent.

        Returns
        -------
        str
            The text on one line.

        Raises
        ------
        CatalogueError
            Missing, empty or not a text.
        """
        if default is not None and not self.has(key):
            return default
        value = self._take(key)
        if not isinstance(value, str) or not value.strip():
            raise self.fail(f"'{key}' must be a text, not {value!r}")
        return " ".join(value.split())

    def texts(self, key: str) -> tuple[str, ...]:
        """A list of texts; empty when the key is absent.

        Parameters
        ----------
        key : str
            The key.

        Returns
        -------
        tuple of str
            The texts.

        Raises
        ------
        CatalogueError
            Not a list of texts.
        """
        if not self.has(key):
            return ()
        value = self._take(key)
        if not isinstance(value, list) or not all(isinstance(item, str) for item in value):
            raise self.fail(f"'{key}' must be a list of texts, not {value!r}")
        return tuple(value)

    def number(self, key: str) -> float:
        """A number.

        Parameters
        ----------
        key : str
            The key.

        Returns
        -------
        float
            The number, in the file's unit.

        Raises
        ------
        CatalogueError
            Missing or not a number.
        """
        return self._float(key, self._take(key))

    def optional_number(self, key: str) -> float | None:
        """A number, or ``None`` when the key is absent.

        Parameters
        ----------
        key : str
            The key.

        Returns
        -------
        float or None
            The number, in the file's unit.

        Raises
        ------
        CatalogueError
            Not a number.
        """
        return self.number(key) if self.has(key) else None

    def numbers(self, key: str) -> list[float]:
        """A list of numbers.

        Parameters
        ----------
        key : str
            The key.

        Returns
        -------
        list of float
            The numbers, in the file's unit.

        Raises
        ------
        CatalogueError
            Missing, empty or not a list of numbers.
        """
        value = self._take(key)
        if not isinstance(value, list) or not value:
            raise self.fail(f"'{key}' must be a list of numbers, not {value!r}")
        return [self._float(key, item) for item in value]

    def flag(self, key: str) -> bool:
        """A yes or no; no when the key is absent.

        Parameters
        ----------
        key : str
            The key.

        Returns
        -------
        bool
            The flag.

        Raises
        ------
        CatalogueError
            Neither true nor false.
        """
        value = self._content.pop(key, False)
        if not isinstance(value, bool):
            raise self.fail(f"'{key}' must be true or false, not {value!r}")
        return value

    def choice(self, key: str, allowed: tuple[str, ...], default: str | None = None) -> str:
        """A text out of a list.

        Parameters
        ----------
        key : str
            The key.
        allowed : tuple of str
            The accepted texts.
        default : str, optional
            Returned when the key is absent.

        Returns
        -------
        str
            The text.

        Raises
        ------
        CatalogueError
            Another text.
        """
        value = self.text(key, default)
        if value not in allowed:
            raise self.fail(f"'{key}' is {value!r}; allowed: {', '.join(sorted(allowed))}")
        return value

    def table(self, key: str) -> Table | None:
        """A table inside this one, or ``None`` when the key is absent.

        Parameters
        ----------
        key : str
            The key.

        Returns
        -------
        Table or None
            The inner table.

        Raises
        ------
        CatalogueError
            The key holds something else.
        """
        if not self.has(key):
            return None
        value = self._take(key)
        if not isinstance(value, dict):
            raise self.fail(f"'{key}' must be a table")
        return Table(value, f"{self.place}, {key}")

    def tables(self, key: str) -> Iterator[Table]:
        """The rows of a list of tables; none when the key is absent.

        Parameters
        ----------
        key : str
            The key.

        Yields
        ------
        Table
            Each row, numbered from 1 in messages.

        Raises
        ------
        CatalogueError
            The key holds something else.
        """
        rows = self._take(key) if self.has(key) else []
        if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
            raise self.fail(f"'{key}' must be a list of tables")
        for position, row in enumerate(rows, start=1):
            yield Table(row, f"{self.place}, {key} {position}")

    def finish(self) -> None:
        """Refuse keys that nothing has asked for.

        Raises
        ------
        CatalogueError
            Naming the keys.
        """
        if self._content:
            raise self.fail(f"unknown key: {', '.join(sorted(self._content))}")

    def _float(self, key: str, value: object) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise self.fail(f"'{key}' must be a number, not {value!r}")
        return float(value)
