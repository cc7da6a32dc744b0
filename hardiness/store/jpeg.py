"""A picture as it came from a phone to a JPEG of bounded size that says nothing but what it shows.

Where it was taken, when and with what is left behind: the picture is drawn anew. A small file may unfold to more than
the memory holds; how large it is drawn is read, and judged, before it is unfolded.
"""

from __future__ import annotations

import io
import struct
from dataclasses import dataclass

from PIL import Image, ImageOps

from hardiness.errors import InputError, Problem

LONGEST = 1600  # [pixels] a side of what is kept
MOST_PIXELS = 60_000_000  # of what comes: twice a large phone camera's
MOST_BYTES = 20_000_000  # of what comes
QUALITY = 82
FORMATS = ("JPEG", "PNG", "WEBP")
ACCEPTED = "a photo as JPEG, PNG or WebP"


@dataclass(frozen=True, slots=True)
class Jpeg:
    """A picture to keep.

    Parameters
    ----------
    data : bytes
        A JPEG.
    width, height : int
        [pixels]
    """

    data: bytes
    width: int
    height: int


def to_jpeg(data: bytes) -> Jpeg:
    """Draw a picture anew as a JPEG of at most :data:`LONGEST` pixels a side, upright, without what was hidden in it.

    Parameters
    ----------
    data : bytes
        A JPEG, PNG or WebP.

    Returns
    -------
    Jpeg

    Raises
    ------
    InputError
        If it is no such picture, is broken, or is drawn larger than :data:`MOST_PIXELS`.

    Examples
    --------
    >>> file = io.BytesIO()
    >>> Image.new("RGB", (3200, 400)).save(file, "PNG")
    >>> kept = to_jpeg(file.getvalue())
    >>> kept.width, kept.height, kept.data[:2] == bytes([255, 216])
    (1600, 200, True)
    """
    if len(data) > MOST_BYTES:
        raise InputError(Problem(f"a photo of {len(data) / 1e6:.0f} MB", f"one of up to {MOST_BYTES / 1e6:.0f} MB"))
    try:
        with Image.open(io.BytesIO(data), formats=FORMATS) as picture:
            wide, high = picture.size
            if wide * high > MOST_PIXELS:
                raise _too_many(f"a photo of {wide} by {high} pixels")
            picture.draft("RGB", (LONGEST, LONGEST))  # a JPEG is unfolded no larger than needed
            upright = ImageOps.exif_transpose(picture)
            drawn = (upright or picture).convert("RGB")
    except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
        raise _too_many("a photo that unfolds to very many pixels") from error
    except (OSError, ValueError, SyntaxError, EOFError, struct.error) as error:
        raise InputError(Problem("a file that is no whole picture", ACCEPTED)) from error
    drawn.thumbnail((LONGEST, LONGEST), Image.Resampling.LANCZOS)
    clean = Image.new("RGB", drawn.size)
    clean.paste(drawn)
    out = io.BytesIO()
    clean.save(out, "JPEG", quality=QUALITY, optimize=True)
    return Jpeg(out.getvalue(), *clean.size)


def _too_many(found: str) -> InputError:
    return InputError(Problem(found, f"one of up to {MOST_PIXELS / 1e6:.0f} million pixels"))
