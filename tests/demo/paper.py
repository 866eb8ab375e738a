"""What the demo prints: short paragraphs and small tables, no wider than a page."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Callable, Iterable, Sequence

WIDTH = 88
NUMBER = re.compile(r"-|[-+]?[\d.,]+( \S+)?")  # perhaps with its unit
MARGIN = "   "


class Paper:
    """A page that is written from top to bottom."""

    def __init__(self, write: Callable[[str], object]) -> None:
        self._write, self._chapters = write, 0

    def title(self, text: str) -> None:
        """The headline."""
        self._write(text)
        self._write("=" * len(text))

    def chapter(self, text: str, when: str) -> None:
        """The next step of the season."""
        self._chapters += 1
        head = f"{self._chapters:2} {text}"
        self._write("")
        self._write(f"{head} {'.' * (WIDTH - len(head) - len(when) - 2)} {when}")

    def tell(self, text: str) -> None:
        """What the farm does or asks."""
        self._paragraph(text, MARGIN, MARGIN)

    def answer(self, text: str) -> None:
        """What the service says, word for word."""
        self._paragraph(text, MARGIN + "> ", MARGIN + "> ")

    def point(self, text: str) -> None:
        """A number that matters."""
        self._paragraph(text, MARGIN + "- ", MARGIN + "  ")

    def table(self, heads: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
        """A small table: numbers to the right; the last column wraps."""
        body = [list(row) for row in rows]
        widths = [max(map(len, column)) for column in zip(heads, *body, strict=True)][:-1]
        to_right = [all(map(_is_number, column)) for column in zip(*body, strict=True)]
        indent = len(MARGIN) + sum(width + 2 for width in widths)
        rule = ["-" * width for width in widths] + ["-" * len(heads[-1])]
        for row in (list(heads), rule, *body):
            start = MARGIN + "".join(
                f"{text:>{width}}  " if right else f"{text:<{width}}  "
                for text, width, right in zip(row, widths, to_right, strict=False)
            )
            self._paragraph(row[-1], start, " " * indent)

    def gap(self) -> None:
        """An empty line."""
        self._write("")

    def _paragraph(self, text: str, first: str, later: str) -> None:
        lines = textwrap.wrap(
            text, WIDTH, initial_indent=first, subsequent_indent=later, break_on_hyphens=False
        )
        for line in lines or [first.rstrip()]:
            self._write(line)


def _is_number(text: str) -> bool:
    return NUMBER.fullmatch(text) is not None
