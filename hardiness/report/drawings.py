"""Small drawings for the scoring sheet: a grafted sprig that loses leaves, tips, shoots, limbs; a plant's square code.

Everything is drawn here, as SVG in ink on nothing. Living wood is a thick line, dead wood a thin dashed one.
"""

from __future__ import annotations

import math

import segno

from hardiness.figures.style import INK, QUIET

WIDTH, HEIGHT = 32.0, 40.0
GRAFT = (16.0, 33.0)
STAGES = 5  # what the sprig can lose: leaves, tips, last summer's wood, limbs, all
# Where each piece of wood lies, and the stage at which it is dead.
_WOOD: tuple[tuple[str, int, float], ...] = (
    ("M16 33 C15.6 27 15.4 25 15.6 22", 5, 2.6),  # the trunk above the graft
    ("M15.6 22 C15.7 18 15.9 16 16.4 13", 4, 2.1),  # the main limbs
    ("M15.6 24 C11 22 9.5 19 8.6 16", 4, 1.8),
    ("M15.6 22 C20 20.5 22 18 23.4 15", 4, 1.8),
    ("M16.4 13 C16.6 11 16.7 9.5 16.8 8", 3, 1.3),  # last summer's wood
    ("M8.6 16 C7.6 13.5 7.2 11.6 7 10", 3, 1.2),
    ("M23.4 15 C24.6 12.8 25.2 11 25.6 9.4", 3, 1.2),
    ("M16.8 8 L17 3.6", 2, 1.0),  # the tips
    ("M7 10 L6.6 6.2", 2, 1.0),
    ("M25.6 9.4 L26.2 5.8", 2, 1.0),
)
# Leaves: where they sit, and the way they point. [degree]
_LEAVES = (
    (17.0, 4.6, -60.0), (16.8, 6.6, 215.0), (16.6, 10.5, -25.0), (6.8, 7.2, 230.0), (6.9, 8.6, -40.0),
    (7.6, 13.2, 200.0), (9.4, 18.4, 185.0), (26.0, 6.8, -50.0), (25.6, 9.0, 205.0), (24.6, 12.6, -15.0),
    (21.8, 18.2, 10.0),
)  # fmt: skip
_FALLEN = ((4.0, 35.6, 8.0), (9.6, 36.6, -12.0), (23.0, 36.4, 14.0), (28.0, 35.4, -6.0))


def stage_of(grade: int, worst: int) -> int:
    """Say what the sprig has lost at a grade: the first grade nothing, the last all.

    Parameters
    ----------
    grade : int
    worst : int
        The last grade of the scale.

    Returns
    -------
    int
        0 to :data:`STAGES`; a grade between keeps at least its leaves' loss, and never looks dead.

    Examples
    --------
    >>> [stage_of(grade, 5) for grade in range(6)], [stage_of(grade, 2) for grade in range(3)]
    ([0, 1, 2, 3, 4, 5], [0, 2, 5])
    """
    if grade in (0, worst):
        return 0 if grade == 0 else STAGES
    return min(max(math.floor(STAGES * grade / worst), 1), STAGES - 1)


def sprig(grade: int, worst: int) -> str:
    """Draw the sprig of a grade.

    Parameters
    ----------
    grade : int
    worst : int
        The last grade of the scale.

    Returns
    -------
    str
        SVG.
    """
    stage = stage_of(grade, worst)
    parts = [_line(path, width, dead=stage >= killed) for path, killed, width in _WOOD]
    # The stock and its graft stay: what grows below the graft is not what is scored.
    parts.append(_line("M16 38.6 L16 33", 3.0, dead=False))
    parts.append(f'<ellipse cx="{GRAFT[0]}" cy="{GRAFT[1]}" rx="2.5" ry="1.5" fill="{INK}"/>')
    if stage == 0:
        parts += [_leaf(x, y, turn, 6.0, filled=True) for x, y, turn in _LEAVES]
    if stage == 1:  # every third leaf hangs on, marked
        parts += [_leaf(x, y, turn, 6.0, filled=False) for x, y, turn in _LEAVES[::3]]
    if 1 <= stage <= 2:
        parts += [_leaf(x, y, turn, 4.0, filled=False) for x, y, turn in _FALLEN]
    if stage == STAGES:
        parts.append(f'<path d="M5 5 L27 29 M27 5 L5 29" stroke="{INK}" stroke-width="1.6" fill="none"/>')
    return _svg(WIDTH, HEIGHT, "".join(parts))


def square_code(label: str) -> str:
    """Draw a plant's label as a QR code, to be read by a phone.

    Parameters
    ----------
    label : str

    Returns
    -------
    str
        SVG with the quiet zone of four modules that the standard asks for.

    Examples
    --------
    >>> square_code("T001").startswith("<svg") and square_code("T001") == square_code("T001")
    True
    """
    code = segno.make(label, error="m", boost_error=False, micro=False)
    path = []
    for y, row in enumerate(code.matrix_iter(border=4)):
        x, dark = 0, [bool(module) for module in row]
        while x < len(dark):
            length = 1
            while x + length < len(dark) and dark[x + length] == dark[x]:
                length += 1
            if dark[x]:
                path.append(f"M{x} {y}h{length}v1h-{length}z")
            x += length
    size = code.symbol_size(border=4)[0]
    return _svg(size, size, f'<path d="{"".join(path)}" fill="{INK}" shape-rendering="crispEdges"/>')


def _svg(width: float, height: float, inside: str) -> str:
    return f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}">{inside}</svg>'


def _line(path: str, width: float, *, dead: bool) -> str:
    look = f'stroke="{QUIET}" stroke-width="0.6" stroke-dasharray="1.4 1.1"' if dead else (
        f'stroke="{INK}" stroke-width="{width:g}"')  # fmt: skip
    return f'<path d="{path}" fill="none" stroke-linecap="round" {look}/>'


def _leaf(x: float, y: float, turn: float, length: float, *, filled: bool) -> str:
    half = 0.28 * length
    shape = f"M0 0 C{0.3 * length:g} {-half:g} {0.7 * length:g} {-half:g} {length:g} 0 C{0.7 * length:g} {half:g} " \
            f"{0.3 * length:g} {half:g} 0 0z"  # fmt: skip
    look = f'fill="{INK}"' if filled else f'fill="none" stroke="{QUIET}" stroke-width="0.6"'
    return f'<path d="{shape}" transform="translate({x:g} {y:g}) rotate({turn:g})" {look}/>'
