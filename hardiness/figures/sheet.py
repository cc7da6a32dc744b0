"""A sheet of paper: one matplotlib figure measured in millimetres from its top left corner.

Panels put text, lines and shapes on it; strokes and shapes of one kind are gathered and drawn as one collection, so
that a page of a thousand marks stays quick to draw and small to store. No axis, frame or tick of matplotlib is used.
"""

from __future__ import annotations

import unicodedata
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.collections import LineCollection, PolyCollection
from matplotlib.figure import Figure
from matplotlib.text import Text

from hardiness.figures.style import INK, PAPER
from hardiness.figures.typeface import MM_PER_POINT, REGULAR, RIGHT_TO_LEFT, properties

DIGIT_HEIGHT = 0.66  # of the type size; Source Sans 3
LEFT_TO_RIGHT = "\u200e"  # Unicode's mark, which draws nothing
Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Layer:
    """What lies over what, from the paper up."""

    ground: float = 0.5
    hatch: float = 1.0
    grid: float = 2.0
    halo: float = 3.0
    line: float = 4.0
    mark: float = 5.0
    cross: float = 6.0
    text: float = 7.0


LAYER = Layer()


class Sheet(Figure):
    """One page in millimetres, y downwards.

    Parameters
    ----------
    width_mm, height_mm : float
        Size of the page. [mm]
    dpi : float
        Dots per inch of its PNG.
    heading : str
        Title of the page, for readers who cannot see it and for the file's metadata.
    description : str
        What the page shows, in words.
    zoom : float, default 1
        How much larger everything is printed than it is laid out: a slide is a small page, enlarged.
    """

    def __init__(
        self, width_mm: float, height_mm: float, *, dpi: float, heading: str, description: str, zoom: float = 1.0
    ) -> None:
        super().__init__(figsize=(zoom * width_mm / 25.4, zoom * height_mm / 25.4), dpi=dpi, facecolor=PAPER)
        FigureCanvasAgg(self)
        self.width_mm, self.height_mm, self.zoom = width_mm, height_mm, zoom
        self.further: tuple[Sheet, ...] = ()  # the pages that follow this one
        self.heading, self.description = heading, description
        self.paper = self.add_axes((0.0, 0.0, 1.0, 1.0))
        self.paper.set_axis_off()
        self.paper.set_xlim(0.0, width_mm)
        self.paper.set_ylim(height_mm, 0.0)
        self._strokes: dict[tuple[float, str, float, float], list[Sequence[Point]]] = defaultdict(list)
        self._shapes: dict[tuple[float, str, str, float, bool], list[Sequence[Point]]] = defaultdict(list)

    def write(
        self,
        x: float,
        y: float,
        text: str,
        size: float,
        *,
        colour: str = INK,
        weight: int = REGULAR,
        align: str = "left",
        column: str = "",
        middle: bool = False,
    ) -> Text:
        """Write one line of text.

        Parameters
        ----------
        x, y : float
            Where its edge named by ``align`` and its baseline lie. [mm]
        text : str
        size : float
            [pt]
        colour : str
        weight : int
            400 or 600.
        align : str
            ``left``, ``center`` or ``right``.
        column : str
            Name of the column it belongs to; texts of one column never overlap.
        middle : bool
            Centre the figures' height on ``y`` instead.

        Returns
        -------
        matplotlib.text.Text
        """
        if any(unicodedata.bidirectional(character) in RIGHT_TO_LEFT for character in text):
            text = LEFT_TO_RIGHT + text  # a sentence stays one from left to right, whatever name it begins with
        baseline = y + DIGIT_HEIGHT * size * MM_PER_POINT / 2 if middle else y
        artist = self.paper.text(
            x, baseline, text, color=colour, fontproperties=properties(self.zoom * size, weight), ha=align,
            va="baseline", zorder=LAYER.text, parse_math=False,
        )  # fmt: skip
        artist.set_gid(f"text-{column}" if column else "text")
        return artist

    def stroke(
        self, points: Sequence[Point], colour: str, width_pt: float, layer: float = LAYER.line, alpha: float = 1.0
    ) -> None:
        """Draw a line through points.

        Parameters
        ----------
        points : sequence of (float, float)
            [mm]
        colour : str
        width_pt : float
            [pt]
        layer : float
            One of :data:`LAYER`.
        alpha : float
            Opacity, 0 to 1.
        """
        self._strokes[layer, colour, width_pt, alpha].append(points)

    def shape(
        self,
        points: Sequence[Point],
        *,
        fill: str = "none",
        edge: str = "none",
        width_pt: float = 0.0,
        dashed: bool = False,
        layer: float = LAYER.mark,
    ) -> None:
        """Draw a closed shape.

        Parameters
        ----------
        points : sequence of (float, float)
            Its corners. [mm]
        fill, edge : str
            Colours.
        width_pt : float
            Width of the edge. [pt]
        dashed : bool
            Whether the edge is dashed.
        layer : float
            One of :data:`LAYER`.
        """
        self._shapes[layer, fill, edge, width_pt, dashed].append(points)

    def box(self, x: float, y: float, width: float, height: float) -> list[Point]:
        """List the corners of a rectangle given by its top left corner. [mm].

        Parameters
        ----------
        x, y : float
            Its top left corner. [mm]
        width, height : float
            [mm]

        Returns
        -------
        list of (float, float)
            [mm]
        """
        return [(x, y), (x + width, y), (x + width, y + height), (x, y + height)]

    def cut(self, height_mm: float) -> None:
        """Set the height of the page once it is known; what was drawn stays where it is from the top.

        Parameters
        ----------
        height_mm : float
            [mm]
        """
        self.height_mm = height_mm
        self.set_size_inches(self.zoom * self.width_mm / 25.4, self.zoom * height_mm / 25.4)
        self.paper.set_ylim(height_mm, 0.0)

    def finish(self) -> None:
        """Put all gathered strokes and shapes on the page, each kind as one collection."""
        for (layer, colour, width, alpha), lines in sorted(self._strokes.items()):
            self.paper.add_collection(
                LineCollection(
                    lines, colors=colour, linewidths=self.zoom * width, alpha=alpha, zorder=layer, capstyle="butt"
                ),
                autolim=False,
            )
        for (layer, fill, edge, width, dashed), shapes in sorted(self._shapes.items()):
            style = (0.0, (1.6, 1.2)) if dashed else "solid"
            self.paper.add_collection(
                PolyCollection(shapes, facecolors=fill, edgecolors=edge, linewidths=self.zoom * width,
                               linestyles=[style], zorder=layer),
                autolim=False,
            )  # fmt: skip
        self._strokes.clear()
        self._shapes.clear()
