"""Writing small LAS and LAZ files, for simulated flights and for tests: the same points, the same bytes."""

from __future__ import annotations

import struct
import uuid
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from accuracy.errors import FormatError
from accuracy.formats import GeoKeyValue

SOFTWARE = "accuracy"
WRITTEN_ON = date(2000, 1, 1)
STORED = {"x": "X", "y": "Y", "z": "Z"}
#: Fields besides x, y, z: our name -> name in the file.
FIELDS = {
    "classification": "classification",
    "point_source_id": "point_source_id",
    "gps_time": "gps_time",
    "return_number": "return_number",
    "number_of_returns": "number_of_returns",
    "intensity": "intensity",
    "withheld": "withheld",
    "synthetic": "synthetic",
    "key_point": "key_point",
    "overlap": "overlap",
    "user_data": "user_data",
    "red": "red",
    "green": "green",
    "blue": "blue",
}


def write_points(
    path: Path,
    *,
    points: Mapping[str, ArrayLike],
    point_format: int = 6,
    version: str = "1.4",
    scale: tuple[float, float, float] = (0.001, 0.001, 0.001),
    offset: tuple[float, float, float] = (0.0, 0.0, 0.0),
    wkt: str | None = None,
    geokeys: Mapping[int, GeoKeyValue] | None = None,
    created: date = WRITTEN_ON,
    compress: bool | None = None,
) -> None:
    """Write one LAS or LAZ file.

    Parameters
    ----------
    path : Path
        Overwritten if it exists.
    points : mapping of arrays, each of shape (n,)
        ``x, y, z``: coordinates in the file's unit if they are floats, stored integers if they are
        integers. Optional: the names in `FIELDS` and
        ``scan_angle_deg`` (rounded to 0.006 degrees, whole degrees in point formats 0 to 5).
    point_format, version
        ASPRS point format 0 to 10 and LAS version ``"1.1"`` to ``"1.4"``.
    scale, offset : tuple of float
        Coordinate = stored integer times scale plus offset; floats are rounded to the nearest integer.
    wkt : str, optional
        Written as record 2112; in LAS 1.4 the header then names WKT as its kind of declaration.
    geokeys : mapping of int to int, float or str, optional
        Written as records 34735 to 34737.
    created : datetime.date
        The header's creation date.
    compress : bool, optional
        LAZ or LAS; by the suffix of `path` if not given.

    Raises
    ------
    FormatError
        Coordinates do not fit 32-bit integers, a field does not fit or is unknown to the point format, or
        the file cannot be written.
    """
    import laspy
    import lazrs

    try:
        header = laspy.LasHeader(version=version, point_format=point_format)
    except laspy.errors.LaspyException as error:
        raise FormatError(
            f"LAS {version} with point format {point_format} cannot be written: {error}",
            where=str(path),
            remedy="LAS 1.4 takes all point formats from 0 to 10",
        ) from error
    header.scales, header.offsets = np.array(scale), np.array(offset)
    header.generating_software = SOFTWARE
    header.system_identifier = SOFTWARE
    header.creation_date = created
    header.uuid = uuid.UUID(int=0)
    header.global_encoding.wkt = wkt is not None and version == "1.4"
    for record_id, description, data in _projection_records(wkt, geokeys):
        header.vlrs.append(laspy.VLR("LASF_Projection", record_id, description, data))
    las = laspy.LasData(header)
    for axis, (name, stored_name) in enumerate(STORED.items()):
        las[stored_name] = _stored(points[name], scale[axis], offset[axis], name, path)
    for name, values in points.items():
        if name not in STORED:
            _set_field(las, name, np.asarray(values), path)
    try:
        with path.open("wb") as file:
            las.write(
                file, do_compress=path.suffix.lower() == ".laz" if compress is None else compress
            )
    except (OSError, lazrs.LazrsError) as error:
        # the compressor does not pass on why the file could not take more
        reason = error.strerror if isinstance(error, OSError) else "the disk may be full"
        raise FormatError(
            f"cannot be written: {reason or error}",
            where=str(path),
            remedy="check that the folder exists, may be written to and has room",
        ) from error


def _stored(
    values: ArrayLike, scale: float, offset: float, name: str, path: Path
) -> NDArray[np.int32]:
    array = np.asarray(values)
    if not np.issubdtype(array.dtype, np.integer):
        array = np.rint((array.astype(np.float64) - offset) / scale)
    limits = np.iinfo(np.int32)
    if array.size and not (array.min() >= limits.min and array.max() <= limits.max):  # NaN too
        raise FormatError(
            f"{name} from {array.min()} to {array.max()} does not fit 32-bit stored integers",
            where=str(path),
            remedy="choose an offset near the points or a coarser scale",
        )
    return array.astype(np.int32)


def _set_field(las: Any, name: str, values: NDArray[Any], path: Path) -> None:
    known = set(las.point_format.dimension_names)
    if name == "scan_angle_deg":
        field = "scan_angle" if "scan_angle" in known else "scan_angle_rank"
        values = np.rint(values / (0.006 if field == "scan_angle" else 1.0))
    else:
        field = FIELDS.get(name, "")
    if field not in known:
        raise FormatError(
            f"point format {las.point_format.id} has no field for {name}",
            where=str(path),
            remedy="leave the field out or choose another point format",
        )
    try:
        with np.errstate(over="raise"):
            las[field] = values if field == "gps_time" else values.astype(np.int64)
    except (OverflowError, ValueError) as error:
        raise FormatError(f"{name} does not fit its field: {error}", where=str(path)) from error
    if not np.array_equal(np.asarray(las[field]), values, equal_nan=field == "gps_time"):
        raise FormatError(f"{name} does not fit its field", where=str(path))


def _projection_records(
    wkt: str | None, geokeys: Mapping[int, GeoKeyValue] | None
) -> list[tuple[int, str, bytes]]:
    """Build the records that declare the reference system: (id, description, content)."""
    records = []
    if geokeys is not None:
        directory, doubles, texts = [], b"", ""
        for key, value in sorted(geokeys.items()):
            if isinstance(value, int):
                directory.append((key, 0, 1, value))
            elif isinstance(value, float):
                directory.append((key, 34736, 1, len(doubles) // 8))
                doubles += struct.pack("<d", value)
            else:
                directory.append((key, 34737, len(value) + 1, len(texts)))
                texts += value + "|"
        content = struct.pack("<4H", 1, 1, 0, len(directory))
        content += b"".join(struct.pack("<4H", *entry) for entry in directory)
        records.append((34735, "GeoKeyDirectoryTag", content))
        if doubles:
            records.append((34736, "GeoDoubleParamsTag", doubles))
        if texts:
            records.append((34737, "GeoAsciiParamsTag", texts.encode("latin-1") + b"\0"))
    if wkt is not None:
        records.append((2112, "OGC Coordinate System WKT", wkt.encode("utf-8") + b"\0"))
    return records
