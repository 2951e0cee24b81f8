"""Tables of points in whatever file people keep them: text, a workbook, a GeoPackage, or GeoJSON.

Everything becomes rows of text, as if the table had been saved as text, so that what a column means is decided
once and by the same rules (`accuracy.inputs`). What a file says of its reference system goes with them.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from accuracy.errors import InputError
from accuracy.formats import point_features, workbook
from accuracy.formats.tables import TextTable, read_text_table

_ZIP, _SQLITE = b"PK\x03\x04", b"SQLite format 3\x00"
_OLD_WORKBOOK = bytes.fromhex("d0cf11e0a1b11ae1")
_LARGEST_JSON = 64_000_000


def read_point_table(path: Path, layer: str | None = None) -> TextTable:
    """Read a table of points; its first bytes say what kind of file it is.

    Parameters
    ----------
    layer : str, optional
        Sheet of a workbook or layer of a GeoPackage; not needed where there is only one.

    Raises
    ------
    InputError
        The file cannot be read as a table, or has several sheets or layers and none is named.
    """
    head = _head(path)
    if head.startswith(_ZIP):
        return workbook.read_sheet(path, layer)
    if head.startswith(_SQLITE):
        return point_features.read_layer(path, layer)
    if head.startswith(_OLD_WORKBOOK):
        raise InputError(
            "is a workbook of the kind used before 2007, or one locked with a password",
            where=str(path),
            remedy="save it as .xlsx without a password, or as text",
        )
    if layer is not None:
        raise InputError(
            f"has no sheets or layers, but {layer!r} is asked for",
            where=str(path),
            remedy="remove layer from the job, or name the workbook or GeoPackage",
        )
    if head.removeprefix(b"\xef\xbb\xbf").lstrip().startswith(b"{"):
        return point_features.of_geojson(path, _json(path))
    return read_text_table(path)


def _head(path: Path) -> bytes:
    try:
        with path.open("rb") as file:
            return file.read(512)
    except OSError:
        return b""  # told by the reader of text


def _json(path: Path) -> Any:
    try:
        if path.stat().st_size > _LARGEST_JSON:
            raise InputError(
                "is too large for a table of points", where=str(path), remedy="check the file"
            )
        return json.loads(path.read_bytes().decode("utf-8-sig"))
    except (OSError, ValueError, RecursionError) as error:
        raise InputError(
            "looks like GeoJSON and cannot be read as such",
            where=str(path),
            remedy="hand in the points as GeoJSON, GeoPackage, .xlsx or text",
        ) from error
