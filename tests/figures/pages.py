"""What every drawn page must keep: all text on it, none too small, none over another; and how other eyes see it."""

import numpy as np
from matplotlib.text import Text

from hardiness.figures.sheet import Sheet
from hardiness.figures.style import drawing

SMALLEST_PT = 6.5


def texts_of(sheet: Sheet) -> list[Text]:
    return [artist for artist in sheet.findobj(Text) if isinstance(artist, Text) and artist.get_text().strip()]


def said(sheets: list[Sheet]) -> str:
    return " ".join(artist.get_text() for sheet in sheets for artist in texts_of(sheet))


def check_page(sheet: Sheet) -> None:
    """No text leaves the page, is smaller than 6.5 pt, or runs into another."""
    with drawing():
        renderer = sheet.canvas.get_renderer()  # type: ignore[attr-defined]
        texts = texts_of(sheet)
        assert min(artist.get_fontsize() for artist in texts) >= SMALLEST_PT
        boxes = np.array([artist.get_window_extent(renderer).extents for artist in texts])
    page = sheet.bbox
    outside = (boxes[:, 0] < 0) | (boxes[:, 1] < 0) | (boxes[:, 2] > page.width) | (boxes[:, 3] > page.height)
    assert not outside.any(), [texts[i].get_text() for i in np.flatnonzero(outside)]
    # matplotlib's box of a line has room for accents and descenders; the figures themselves fill its middle.
    height = boxes[:, 3] - boxes[:, 1]
    low, high = boxes[:, 1] + 0.2 * height, boxes[:, 3] - 0.2 * height
    across = np.minimum(boxes[:, None, 2], boxes[None, :, 2]) - np.maximum(boxes[:, None, 0], boxes[None, :, 0])
    down = np.minimum(high[:, None], high[None, :]) - np.maximum(low[:, None], low[None, :])
    first, second = np.nonzero(np.triu((across > 0.5) & (down > 0.5), 1))
    assert not len(first), [(texts[i].get_text(), texts[j].get_text()) for i, j in zip(first, second, strict=True)]


# Deuteranopia, severity 1, on linear light: Machado, Oliveira and Fernandes 2009, doi:10.1109/TVCG.2009.113, table 1.
DEUTERANOPIA = np.array(
    [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
)
LUMINANCE = np.array([0.2126, 0.7152, 0.0722])  # of linear sRGB: IEC 61966-2-1


def linear(srgb: np.ndarray) -> np.ndarray:
    """Light of sRGB colours, 0 to 1; dims (..., colour)."""
    return np.where(srgb <= 0.04045, srgb / 12.92, ((srgb + 0.055) / 1.055) ** 2.4)


def encoded(light: np.ndarray) -> np.ndarray:
    """SRGB colours of light, 0 to 1; dims (..., colour)."""
    held = np.clip(light, 0, 1)
    return np.where(held <= 0.0031308, 12.92 * held, 1.055 * held ** (1 / 2.4) - 0.055)


def as_deuteranope(srgb: np.ndarray) -> np.ndarray:
    """Show colours, or a whole picture, as an eye without green cones sees them; dims (..., colour), 0 to 1."""
    return encoded(linear(np.asarray(srgb, dtype=float)) @ DEUTERANOPIA.T)


def in_grey(srgb: np.ndarray) -> np.ndarray:
    """Show colours, or a whole picture, in grey print; dims (..., colour), 0 to 1."""
    light = linear(np.asarray(srgb, dtype=float)) @ LUMINANCE
    return encoded(np.repeat(light[..., None], 3, axis=-1))
