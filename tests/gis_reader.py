"""GeoPackage and GeoJSON read by GDAL, geometries taken apart by hand."""

from __future__ import annotations

import struct
from pathlib import Path
from typing import Any

from pyogrio.raw import read


def read_layer(path: Path, layer: str) -> tuple[str | None, str, list[dict[str, Any]]]:
    """Give system, geometry type and features; a feature's places stand under ``geometry``."""
    meta, _, geometries, columns = read(path, layer=layer)
    names = list(meta["fields"])
    features = [
        dict(zip(names, values, strict=True)) | {"geometry": places(geometry)}
        for geometry, *values in zip(geometries, *columns, strict=True)
    ]
    return meta["crs"], meta["geometry_type"], features


def places(wkb: bytes | None) -> list[tuple[float, ...]] | None:
    """Take a point, a line or the one ring of a polygon apart (WKB, little-endian)."""
    if wkb is None:
        return None
    order, kind = struct.unpack_from("<BI", wkb)
    assert order == 1
    deep = kind >= 1000  # ISO, or the older form with the highest bit
    kind = (kind & 0xFFFF) % 1000
    width, at = (3, 5) if deep else (2, 5)
    count = 1
    if kind == 3:
        assert struct.unpack_from("<I", wkb, at) == (1,)
        at += 4
    if kind != 1:
        (count,) = struct.unpack_from("<I", wkb, at)
        at += 4
    assert len(wkb) == at + 8 * width * count
    return [struct.unpack_from(f"<{width}d", wkb, at + 8 * width * i) for i in range(count)]
