"""Versions of the geodesy library and its database: part of every result."""

from __future__ import annotations


def proj_version() -> str:
    """Version of PROJ."""
    import pyproj

    return str(pyproj.proj_version_str)


def epsg_version() -> str:
    """Version of the EPSG dataset that PROJ carries."""
    import pyproj.database

    return str(pyproj.database.get_database_metadata("EPSG.VERSION") or "unknown")
