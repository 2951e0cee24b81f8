"""Photographs scaled for a report: upright, small, and without what else the camera wrote into the file."""

from __future__ import annotations

import warnings

import numpy as np

from accuracy.errors import FormatError

#: Longer side of a scaled photograph, pixels, and quality of its JPEG.
LONG_SIDE = 720
QUALITY = 75
_MOST_PIXELS = 300_000_000

_KINDS = {b"\xff\xd8\xff": "JPEG", b"\x89PNG\r\n\x1a\n": "PNG"}

#: EXIF orientation to quarter turns (against the clock) after a mirroring left to right. (CIPA DC-008, tag 274;
#: from memory.)
_UPRIGHT = {
    1: (False, 0),
    2: (True, 0),
    3: (False, 2),
    4: (True, 2),
    5: (True, 1),
    6: (False, 3),
    7: (True, 3),
    8: (False, 1),
}


def scaled_photograph(content: bytes, name: str) -> bytes:
    """Give a JPEG of at most `LONG_SIDE` pixels, turned upright by the camera's own note.

    Place, time and camera in the original (EXIF) do not go with it.

    Raises
    ------
    FormatError
        Neither JPEG nor PNG, damaged, or too large.
    """
    import rasterio
    from rasterio.enums import Resampling
    from rasterio.errors import NotGeoreferencedWarning, RasterioError
    from rasterio.io import MemoryFile

    kind = next((kind for mark, kind in _KINDS.items() if content.startswith(mark)), None)
    if kind is None:
        raise FormatError("is neither JPEG nor PNG", where=name, remedy="save it as JPEG")
    try:
        with warnings.catch_warnings(), rasterio.Env(GDAL_PAM_ENABLED="NO"):
            warnings.simplefilter("ignore", NotGeoreferencedWarning)
            with MemoryFile(content) as memory, memory.open(driver=kind) as picture:
                if picture.width * picture.height > _MOST_PIXELS:
                    raise FormatError("has too many pixels", where=name, remedy="scale it down")
                factor = min(1.0, LONG_SIDE / max(picture.width, picture.height))
                rows, cols = (
                    max(1, round(side * factor)) for side in (picture.height, picture.width)
                )
                bands = [1, 2, 3] if picture.count >= 3 else [1]
                pixels = picture.read(
                    bands, out_shape=(len(bands), rows, cols), resampling=Resampling.average
                )
                if pixels.dtype != np.uint8:
                    raise FormatError("has no 8 bits a colour", where=name, remedy="save as JPEG")
                turned = str(picture.tags().get("EXIF_Orientation", "1"))
            mirror, turns = _UPRIGHT.get(int(turned) if turned.isdigit() else 1, (False, 0))
            if mirror:
                pixels = pixels[:, :, ::-1]
            pixels = np.ascontiguousarray(np.rot90(pixels, turns, axes=(1, 2)))
            with MemoryFile() as memory:
                with memory.open(
                    driver="JPEG",
                    count=len(pixels),
                    height=pixels.shape[1],
                    width=pixels.shape[2],
                    dtype="uint8",
                    quality=QUALITY,
                ) as written:
                    written.write(pixels)
                return bytes(memory.read())
    except RasterioError as error:
        raise FormatError(
            "cannot be read as a picture", where=name, remedy="save it again"
        ) from error
