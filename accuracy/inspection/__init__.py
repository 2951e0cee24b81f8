"""Inspection: what a cloud, raster or table of points says of itself, and what looks wrong with it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from accuracy.errors import AccuracyError, FormatError
from accuracy.inspection.record import Inspection

#: Suffixes of tables of points. Other files are tried as what their first bytes say.
TABLES = frozenset({".xlsx", ".geojson", ".csv", ".txt", ".tsv", ".dat", ".pts", ".pnt", ".pnezd"})


def inspect_file(
    path: Path,
    *,
    full: bool = False,
    order: str | None = None,
    on_read: Callable[[int, int], None] | None = None,
) -> Inspection:
    """Look into one file; its kind is told by its name, then by its content.

    Parameters
    ----------
    full : bool
        Count all points and cells of large files, too.
    order : str, optional
        Letters P N E Z D for a table without a header.
    on_read : callable, optional
        Told, while points of a cloud are read, how many were, and of how many.

    Raises
    ------
    FormatError, InputError
        The file is missing, or of no kind read here.
    """
    if not path.is_file():
        raise FormatError(
            "is a folder; name files" if path.is_dir() else "no such file",
            where=str(path),
            remedy="check the path; patterns such as cloud/*.laz are allowed",
        )
    suffix = path.suffix.lower()
    if suffix in (".las", ".laz") or _begins_with(path, b"LASF"):
        from accuracy.inspection.cloud import inspect_cloud

        return inspect_cloud(path, full=full, on_read=on_read)
    from accuracy.inspection.table import inspect_table

    if suffix in TABLES:
        return inspect_table(path, order)
    from accuracy.inspection.raster import inspect_raster

    try:
        return inspect_raster(path, full=full)
    except FormatError:
        try:
            return inspect_table(path, order)
        except AccuracyError:
            pass  # neither: what speaks against a raster is told
        raise


def _begins_with(path: Path, mark: bytes) -> bool:
    try:
        with path.open("rb") as file:
            return file.read(len(mark)) == mark
    except OSError as error:
        raise FormatError(
            f"cannot be read: {error.strerror or error}",
            where=str(path),
            remedy="check that you may read it and that the disk is sound",
        ) from error
