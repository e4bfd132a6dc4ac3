"""Photos of a visit, scaled for a report.

Only what Pillow draws anew goes in: nothing of a photo's metadata, such as where it was taken.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from voicenotes.links import leads_out

if TYPE_CHECKING:
    from collections.abc import Iterable

LONGEST_SIDE = 1200  # pixels: 170 mm wide at 180 dots an inch
LARGEST_FILE_BYTES = 60_000_000
MOST_PIXELS = 120_000_000
QUALITY = 80
FORMATS = ("JPEG", "PNG", "WEBP", "GIF", "BMP", "TIFF")


@dataclass(frozen=True)
class Picture:
    """A scaled photo as JPEG, or one line on why it can't be shown."""

    jpeg: bytes = b""
    width: int = 0
    height: int = 0
    problem: str | None = None


def pictures_of(folder: Path, names: Iterable[str]) -> dict[str, Picture]:
    """The photos of a visit by file name; each is a file directly in the folder, or has a problem."""
    return {name: _picture(folder, name) for name in dict.fromkeys(names)}


def _picture(folder: Path, name: str) -> Picture:
    if name in ("", ".", "..") or Path(name).name != name or "\\" in name or "\0" in name:
        return Picture(problem="is no plain file name; photos stand in the visit's folder itself")
    path = folder / name
    if leads_out(path):
        return Picture(problem="is a link that leads out of the visit's folder, so it is not shown")
    if not path.is_file():
        return Picture(problem="is not in the visit's folder any more")
    try:
        if path.stat().st_size > LARGEST_FILE_BYTES:
            return Picture(problem="is too large for a photo")
        return scaled(path.read_bytes())
    except OSError as error:
        return Picture(problem=f"can't be read ({error.strerror or type(error).__name__})")


def scaled(content: bytes, longest: int = LONGEST_SIDE) -> Picture:
    """An image file's content as a JPEG of at most `longest` pixels a side, upright, without metadata."""
    from PIL import Image, ImageOps

    try:
        with Image.open(io.BytesIO(content), formats=FORMATS) as opened:
            if opened.width * opened.height > MOST_PIXELS:
                return Picture(problem="has more pixels than any camera gives, so it is not shown")
            opened.draft("RGB", (longest, longest))
            turned = ImageOps.exif_transpose(opened)
            turned.thumbnail((longest, longest))
            flat = Image.new("RGB", turned.size, "white")
            flat.paste(turned, mask=turned.getchannel("A") if turned.mode in ("RGBA", "LA") else None)
    except Exception as error:  # what a broken image raises differs by format and version
        return Picture(problem=f"can't be shown ({type(error).__name__}); save it again as JPEG")
    written = io.BytesIO()
    flat.save(written, "JPEG", quality=QUALITY, optimize=True)
    return Picture(written.getvalue(), flat.width, flat.height)
