"""Transverse Mercator, frames and plate motion of the simulation, against PROJ and published values."""

from __future__ import annotations

import re

import numpy as np
import pyproj
import pytest
from support import assert_metres

from accuracy.simulation.projection import UniversalZone, axes, geocentric_m
from accuracy.simulation.site_wkt import geokeys_of, wkt_of
from accuracy.simulation.sites import (
    BRANDENBURG,
    CUMBERLAND,
    OLDER_GDA94,
    SITES,
    TO_ETRS89,
    TO_GDA2020,
    TO_NAD83,
    FrameChange,
    Site,
)

ALL = list(SITES.values())


@pytest.mark.parametrize(
    ("zone", "code", "longitude", "latitude"),
    [
        (UniversalZone(12), 6341, -112.04, 41.02),
        (UniversalZone(13), 6342, -112.04, 41.02),  # the neighbour, as a wrong zone has it
        (UniversalZone(33), 25833, 13.5, 52.45),
        (UniversalZone(56, south=True), 7856, 150.81, -33.84),
    ],
)
def test_the_projection_is_that_of_proj(
    zone: UniversalZone, code: int, longitude: float, latitude: float
) -> None:
    """Forward, back and the convergence agree with PROJ."""
    crs = pyproj.CRS.from_epsg(code)
    theirs = pyproj.Transformer.from_crs(crs.geodetic_crs, crs, always_xy=True)
    east, north = theirs.transform(longitude, latitude)
    assert_metres(zone.forward(longitude, latitude), (east, north), within_m=1e-4)
    assert_metres(zone.inverse(east, north), (longitude, latitude), within_m=1e-9)  # degrees
    factors = pyproj.Proj(crs).get_factors(longitude, latitude)
    if abs(longitude - zone.meridian_deg) < 3.5:
        ours = zone.convergence_deg(longitude, latitude)
        assert abs(ours - factors.meridian_convergence) < 3e-5
        assert abs(zone.scale(float(east)) - factors.meridional_scale) < 1e-6


def test_geocentric_coordinates_are_those_of_proj() -> None:
    """X, Y, Z agree with PROJ, and the axes are at right angles."""
    theirs = pyproj.Transformer.from_crs(4937, 4936, always_xy=True)
    assert_metres(
        geocentric_m(13.5, 52.4, 101.3), theirs.transform(13.5, 52.4, 101.3), within_m=1e-6
    )
    turn = axes(13.5, 52.4)
    np.testing.assert_allclose(turn @ turn.T, np.eye(3), rtol=0, atol=1e-14)
    np.testing.assert_allclose(np.cross(turn[0], turn[1]), turn[2], rtol=0, atol=1e-14)


@pytest.mark.parametrize(
    ("change", "pipeline"),
    [
        (TO_NAD83, "EPSG:10334"),
        (TO_ETRS89, "EPSG:10572"),
        (TO_GDA2020, "EPSG:8049"),
        (OLDER_GDA94, "EPSG:8048"),
    ],
)
def test_changes_of_frame_are_those_of_the_registry(change: FrameChange, pipeline: str) -> None:
    """Parameters typed here give what PROJ gives with its own copy of the registry."""
    name = f"urn:ogc:def:coordinateOperation:{pipeline.replace(':', '::')}"
    text = pyproj.Transformer.from_pipeline(name).definition
    step = re.search(r"proj=helmert.*?(?= (?:inv|step|proj=)|$)", text)
    assert step is not None
    helmert = pyproj.Transformer.from_pipeline(step[0])
    place_m = geocentric_m(-112.0, 41.0, 1290.0)
    moved = helmert.transform(*place_m, 2026.4)
    assert_metres(change.moved_m(place_m, 2026.4), np.subtract(moved[:3], place_m), within_m=1e-4)


@pytest.mark.parametrize("site", ALL, ids=lambda site: site.name)
def test_systems_written_out_are_those_of_the_registry(site: Site) -> None:
    """The WKT is what PROJ writes for the codes the job names, and the GeoKeys name the same codes."""
    assert pyproj.CRS.from_wkt(wkt_of(site)).to_wkt("WKT1_GDAL") == pyproj.CRS.from_user_input(
        site.crs
    ).to_wkt("WKT1_GDAL")
    keys = geokeys_of(site)
    assert site.crs == f"EPSG:{keys[3072]}+{keys[4096]}"
    assert pyproj.CRS.from_user_input(site.crs_3d).axis_info[2].direction == "up"


def test_shifts_of_frames_are_of_the_published_size() -> None:
    """Near Berlin and Sydney the frames differ by what their agencies' parameters give for 2025.

    Berlin (+0.704, +0.552, 0.002) m and Sydney (+0.091, +0.272, 0) m, computed with PROJ from registry
    parameters, true east and north; the plate moves 24.8 and 57.4 mm a year there. Berlin's is of ITRF2014;
    ITRF2020 has a rotation slower by 2 %.
    """
    for site, expected_m, speed in (
        (BRANDENBURG, (0.98 * 0.704, 0.98 * 0.552, 0.002), 0.98 * 0.0248),
        (CUMBERLAND, (0.091, 0.272, 0.0), 0.0574),
    ):
        found_m = site.frame_shift_m(site.to_frame, 2025.0)
        assert_metres(np.hypot(*found_m[:2]), np.hypot(*expected_m[:2]), within_m=0.004)
        assert_metres(found_m[2], expected_m[2], within_m=0.003)
        year_m = site.frame_shift_m(site.to_frame, 2026.0) - found_m
        assert_metres(np.hypot(*year_m[:2]), speed, within_m=0.0005)
