"""The one sheet that every picture of the service is drawn on, and its style.

How to draw one::

    def trend_picture(request, answer, media_type):                # request SI, answer displayed
        sheet = canvas.sheet("Column temperature", answer.decision, [["trace"], ["rate"]],
                             heights=(3, 1))
        axes = sheet.axes["trace"]
        axes.plot(hours, temperature, color=canvas.BLUE, linewidth=canvas.LINE)
        canvas.frame(axes, "Column temperature", "degF", x_label="hours")
        canvas.end_label(axes, hours[-1], temperature[-1], "column", canvas.BLUE)
        return canvas.render(sheet, media_type)

and in the route ``@computes(writes=canvas.writers(trend_picture))``, which offers SVG and PNG.

Habits: the decision stands on top as the headline's second line; each panel has one short title
with its unit; a line carries its name at its end instead of a legend; a band is a pale fill of its
line's colour; red (`RUST`) is kept for what is wrong, a fire caution before all. Colours are those
of Okabe and Ito ("Color universal design", 2008), which people with any colour vision can tell
apart; lines that meet differ in dash too; words are darkened until they can be read (`legible`).
Same data, same bytes: no dates, no random ids. No pyplot, no state but the constants that are set
once when the library is first loaded.
"""

from __future__ import annotations

import io
import textwrap
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache, partial
from types import ModuleType
from typing import TYPE_CHECKING, Any, Literal
from xml.sax.saxutils import escape, quoteattr

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

SVG, PNG = "image/svg+xml", "image/png"
PICTURES = (SVG, PNG)

INK, GREY, PALE, PAPER = "#222222", "#666666", "#e4e4e4", "#ffffff"
HEATED, COOLED = "#fbeee0", "#e6f1f8"  # shades of the zones of a column
BLUE, RUST, GREEN, PURPLE, ORANGE, SKY = (
    "#0072b2", "#d55e00", "#009e73", "#a6568a", "#e69f00", "#56b4e9",
)  # fmt: skip
COLOURS = (BLUE, ORANGE, GREEN, PURPLE, SKY, RUST)
DASHES = ("-", "--", "-.", ":", (0, (6, 2, 1, 2, 1, 2)), (0, (1, 1)))

WIDTH = 11.0  # in
ROW = 2.6  # in, height of one unit of `heights`
DOTS = 110  # per inch, in PNG
BODY, SMALL, TITLE, HEADLINE = 12.5, 11.0, 13.0, 18.0  # pt
LINE, THIN = 2.2, 1.2  # pt
HALO = {"facecolor": PAPER, "edgecolor": "none", "alpha": 0.8, "pad": 1.0}  # behind words
BAND = 0.18  # opacity of a band
GRID = 4  # decimals of a panel's place on the page
CHARACTERS, BOLD_CHARACTERS = 106, 92  # of the decision in one line
FIRE = "FIRE CAUTION"  # how a decision begins that comes before all else
LEAST_CONTRAST = 4.5  # of words, to what they stand on; Web Content Accessibility Guidelines 1.4.3
HEADLINE_LINE, BODY_LINE = 0.34, 0.25  # in, line heights above the panels

FONT = "DejaVu Sans"  # comes with the library
FONTS_OF_A_READER = "'DejaVu Sans', Verdana, sans-serif"  # alike in width

_ONE_AT_A_TIME = threading.RLock()  # the plotting library shares caches between threads


@dataclass(frozen=True, slots=True)
class Sheet:
    """A page with its panels.

    Attributes
    ----------
    figure : Figure
        The whole page.
    axes : dict
        The panels, by the names of the layout.
    title : str
        The headline, also the picture's title for a screen reader.
    decision : str
        The sentence below it, also the picture's description.
    """

    figure: Figure
    axes: dict[str, Axes]
    title: str
    decision: str


def sheet(
    title: str,
    decision: str,
    layout: Sequence[Sequence[str]],
    *,
    heights: Sequence[float] | None = None,
    widths: Sequence[float] | None = None,
) -> Sheet:
    """A page with a headline, the decision, and panels below.

    Parameters
    ----------
    title : str
        A few words: what the picture shows.
    decision : str
        The answer's decision; wrapped.
    layout : sequence of sequence of str
        Names of the panels, row by row; a name repeated spans; ``"."`` is left empty.
    heights : sequence of float, optional
        Relative heights of the rows; 1 is `ROW` inches.
    widths : sequence of float, optional
        Relative widths of the columns.

    Returns
    -------
    Sheet
        Its panels are found by name.
    """
    _library()
    from matplotlib.figure import Figure

    heights = tuple(heights or [1.0] * len(layout))
    fire = decision.startswith(FIRE)
    lines = textwrap.wrap(decision, BOLD_CHARACTERS if fire else CHARACTERS)
    top = HEADLINE_LINE + BODY_LINE * len(lines) + 0.25
    height = top + ROW * sum(heights)
    figure = Figure(figsize=(WIDTH, height), layout="constrained", facecolor=PAPER)
    engine: Any = figure.get_layout_engine()
    engine.set(rect=(0.012, 0.01, 0.966, 1.0 - top / height - 0.01), h_pad=0.1, w_pad=0.08)
    figure.text(
        0.02, 1.0 - 0.12 / height, title, fontsize=HEADLINE, fontweight="bold", color=INK, va="top"
    )
    figure.text(
        0.02, 1.0 - (0.18 + HEADLINE_LINE) / height, "\n".join(lines),
        fontsize=BODY, color=legible(RUST) if fire else INK, va="top", linespacing=1.3,
        fontweight="bold" if fire else "normal",
    )  # fmt: skip
    panels = figure.subplot_mosaic(
        [list(row) for row in layout], height_ratios=heights, width_ratios=widths
    )
    for panel in panels.values():
        _quiet(panel)
    return Sheet(figure, panels, title, decision)


def alone(title: str, decision: str, media_type: str) -> bytes:
    """A picture of an answer that has no figures: headline and decision, without a panel."""
    page = sheet(title, decision, [["nothing"]], heights=(0.2,))
    page.axes["nothing"].set_axis_off()
    return render(page, media_type)


@cache
def legible(color: str) -> str:
    """A colour for words: darkened until it can be read on paper and on the shade of a zone."""
    parts = [int(color[place : place + 2], 16) / 255.0 for place in (1, 3, 5)]
    while contrast(_hex(parts), HEATED) < LEAST_CONTRAST:
        parts = [0.97 * part for part in parts]
    return _hex(parts)


def contrast(one: str, other: str) -> float:
    """Contrast of two colours, 1 to 21.

    Parameters
    ----------
    one, other : str
        As ``#rrggbb``.

    Returns
    -------
    float
        The ratio.

    References
    ----------
    .. [1] W3C, Web Content Accessibility Guidelines 2.2, contrast ratio and relative luminance.
    """
    low, high = sorted((_luminance(one), _luminance(other)))
    return (high + 0.05) / (low + 0.05)


def _luminance(color: str) -> float:
    parts = [int(color[place : place + 2], 16) / 255.0 for place in (1, 3, 5)]
    red, green, blue = (
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def _hex(parts: Sequence[float]) -> str:
    return "#" + "".join(f"{round(255.0 * part):02x}" for part in parts)


def key(axes: Axes, entries: Sequence[tuple[str, str]]) -> None:
    """Names of the lines, in their colours, in the lower right corner of a panel."""
    for index, (name, color) in enumerate(reversed(entries)):
        axes.text(
            0.98, 0.02 + 0.045 * index, name, transform=axes.transAxes, fontsize=SMALL,
            color=legible(color), ha="right", va="bottom", fontweight="bold",
        )  # fmt: skip


def frame(
    axes: Axes,
    title: str,
    unit: str = "",
    *,
    x_label: str = "",
    low: float | None = None,
    high: float | None = None,
) -> None:
    """Finish a panel: its title with the unit, the label below, the vertical limits.

    Parameters
    ----------
    axes : Axes
        The panel, already drawn on.
    title : str
        What is shown.
    unit : str
        Its unit, as written for a reader.
    x_label : str
        What runs from left to right.
    low, high : float, optional
        Vertical limits.
    """
    text = f"{title}, {unit}" if unit and unit != "-" else title
    axes.set_title(text, loc="left", fontsize=TITLE, color=INK, pad=8)
    if x_label:
        axes.set_xlabel(x_label, fontsize=BODY, color=INK)
    if low is not None or high is not None:
        axes.set_ylim(low, high)


def empty(axes: Axes, title: str, text: str) -> None:
    """A panel for which there are no data: its title and why, no scale that nothing stands on."""
    frame(axes, title)
    note(axes, 0.02, 0.5, text)
    axes.set_yticks([])
    axes.set_xticks([])
    axes.spines["bottom"].set_visible(False)


def end_label(axes: Axes, x: float, y: float, text: str, color: str, *, above: bool = True) -> None:
    """The name of a line, beside its end, so that no legend is needed."""
    axes.annotate(
        text, (x, y), xytext=(-4, 6 if above else -6), textcoords="offset points",
        ha="right", va="bottom" if above else "top", fontsize=SMALL, color=legible(color),
        fontweight="bold", annotation_clip=False, bbox=HALO,
    )  # fmt: skip


def note(axes: Axes, x: float, y: float, text: str, color: str = GREY) -> None:
    """A short remark in a panel, at a place given as fractions of it."""
    axes.text(
        x, y, text, transform=axes.transAxes, fontsize=SMALL, color=legible(color),
        ha="left" if x < 0.5 else "right", va="top" if y > 0.5 else "bottom", bbox=HALO,
    )  # fmt: skip


def level(axes: Axes, y: float, text: str, color: str = GREY) -> None:
    """A horizontal reference line with its name at the left."""
    axes.axhline(y, color=color, linewidth=THIN, linestyle=(0, (5, 3)), zorder=1.5)
    axes.annotate(
        text, (0.0, y), xycoords=("axes fraction", "data"), xytext=(5, 3),
        textcoords="offset points", ha="left", va="bottom", fontsize=SMALL, color=legible(color),
        bbox=HALO,
    )  # fmt: skip


def band(
    axes: Axes, x: Any, low: Any, high: Any, color: str, *, step: Literal["post"] | None = None
) -> None:
    """A pale band between two lines, or between two that jump and stay."""
    axes.fill_between(x, low, high, color=color, alpha=BAND, linewidth=0.0, zorder=1.0, step=step)


def aside(axes: Axes, text: str, color: str = GREY) -> None:
    """A short remark above the panel's right end, level with its title, where it hides nothing."""
    axes.set_title(text, loc="right", fontsize=SMALL, color=legible(color), pad=8)


def words(
    axes: Axes, lines: Sequence[tuple[str, str]], *, title: str = "", right: float = 1.0
) -> None:
    """A panel of figures in words, one a line: name at the left, value ending at `right`."""
    axes.set_axis_off()
    if title:
        axes.set_title(title, loc="left", fontsize=TITLE, color=INK, pad=8)
    step = 1.0 / max(len(lines), 1)
    for index, (name, value) in enumerate(lines):
        y = 1.0 - (index + 0.5) * step
        axes.text(0.0, y, name, transform=axes.transAxes, fontsize=BODY, color=GREY, va="center")
        axes.text(
            right, y, value, transform=axes.transAxes, fontsize=BODY, color=INK, va="center",
            ha="right", fontweight="bold",
        )  # fmt: skip


def plain_numbers(axes: Axes) -> None:
    """Thousands grouped on the vertical axis, no powers of ten."""
    from matplotlib.ticker import StrMethodFormatter

    axes.yaxis.set_major_formatter(StrMethodFormatter("{x:,.0f}"))


def render(page: Sheet, media_type: str) -> bytes:
    """The finished picture.

    Parameters
    ----------
    page : Sheet
        Drawn.
    media_type : str
        One of `PICTURES`.

    Returns
    -------
    bytes
        SVG or PNG; the same drawing gives the same bytes.
    """
    buffer = io.BytesIO()
    with _ONE_AT_A_TIME:
        _settle(page)
        if media_type == SVG:
            from matplotlib.backends.backend_svg import FigureCanvasSVG

            about = {
                "Date": None, "Creator": "Outfeed", "Title": page.title,
                "Description": page.decision,
            }  # fmt: skip
            FigureCanvasSVG(page.figure).print_svg(buffer, metadata=about)  # type: ignore[no-untyped-call]
            return _read_aloud(buffer.getvalue().decode(), page).encode()
        from matplotlib.backends.backend_agg import FigureCanvasAgg

        plain = {"Software": None, "Title": page.title, "Description": page.decision}
        FigureCanvasAgg(page.figure).print_png(buffer, metadata=plain)  # type: ignore[no-untyped-call]
        return buffer.getvalue()


def _read_aloud(svg: str, page: Sheet) -> str:
    """The drawing with the fonts of its reader, and with words for who hears it."""
    label = quoteattr(f"{page.title}. {page.decision}")
    svg = svg.replace(f"'{FONT}'", FONTS_OF_A_READER)
    svg = svg.replace("<svg ", f'<svg role="img" aria-label={label} ', 1)
    return svg.replace("</title>", f"</title>\n <desc>{escape(page.decision)}</desc>", 1)


def _settle(page: Sheet) -> None:
    """Lay the panels out once and put them on a grid, so that the solver's last digits are lost."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    figure = page.figure
    figure.set_dpi(DOTS)
    FigureCanvasAgg(figure)
    figure.draw_without_rendering()
    figure.set_layout_engine("none")
    for panel in page.axes.values():
        left, bottom, width, height = (round(end, GRID) for end in panel.get_position().bounds)
        panel.set_position((left, bottom, width, height))


Draw = Callable[[Any, Any, str], bytes]


def writers(draw: Draw) -> dict[str, Callable[[Any, Any], bytes]]:
    """What a route offers beside JSON when it has a picture.

    Parameters
    ----------
    draw : callable
        From the SI request, the displayed answer and a media type to the bytes.

    Returns
    -------
    dict
        For the `writes` of `route.computes`.
    """
    return {media_type: partial(_draw, draw, media_type) for media_type in PICTURES}


def _draw(draw: Draw, media_type: str, request: Any, answer: Any) -> bytes:
    with _ONE_AT_A_TIME:
        return draw(request, answer, media_type)


@cache
def _library() -> ModuleType:
    """The plotting library, loaded at the first picture, with its constants set once."""
    import matplotlib as library

    library.rcParams["svg.hashsalt"] = "outfeed"
    library.rcParams["svg.fonttype"] = "none"  # text stays text: searchable, read aloud, small
    library.rcParams["font.family"] = [FONT]
    library.rcParams["axes.unicode_minus"] = False
    return library


def _quiet(axes: Axes) -> None:
    """A panel without box: pale horizontal lines, dark small numbers."""
    for side in ("top", "right", "left"):
        axes.spines[side].set_visible(False)
    axes.spines["bottom"].set_color(GREY)
    axes.grid(visible=True, axis="y", color=PALE, linewidth=1.0)
    axes.set_axisbelow(True)
    axes.tick_params(labelsize=SMALL, colors=GREY, labelcolor=INK, length=0, pad=6)
    axes.tick_params(axis="x", length=4)
    axes.margins(x=0.01)
