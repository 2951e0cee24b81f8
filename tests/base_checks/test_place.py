"""Where the base is in the plane of a deliverable."""

from __future__ import annotations

from pyproj import Transformer
from support import assert_metres

from accuracy.base_checks.place import in_plane
from accuracy.base_checks.record import Side, Station
from accuracy.georeferencing.declaration import declared


def test_geographic_coordinates_come_to_the_plane_in_metres() -> None:
    """An invented mark by latitude and longitude, against PROJ's own projection; feet become metres."""
    lon_deg, lat_deg = -111.8, 41.2
    east_m, north_m = Transformer.from_crs(6318, 6341, always_xy=True).transform(lon_deg, lat_deg)
    station = Station("INV1", held=Side("held", declared("EPSG:6319"), lon_deg, lat_deg, 1400.0))
    found = in_plane(station, declared("EPSG:6341+5703"))
    assert found is not None
    assert_metres(found, (east_m, north_m), within_m=1e-6)
    feet = in_plane(station, declared("EPSG:6626"))  # Utah North, US survey feet
    east_ft, north_ft = Transformer.from_crs(6318, 6626, always_xy=True).transform(lon_deg, lat_deg)
    assert feet is not None
    assert_metres(feet, (east_ft * 1200 / 3937, north_ft * 1200 / 3937), within_m=1e-6)


def test_nothing_is_guessed() -> None:
    """Without coordinates, without a way, or without a plane there is no place."""
    mark = Side("held", declared("EPSG:6319"), -111.8, 41.2, 1400.0)
    assert in_plane(Station("INV1"), declared("EPSG:6341")) is None
    assert in_plane(Station("INV1", held=mark), declared("EPSG:4978")) is None
    assert (
        in_plane(Station("INV1", held=mark), declared("EPSG:32612")) is None
    )  # WGS 84, no realisation
