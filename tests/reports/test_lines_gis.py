"""Flight lines for geographic systems: read back by GDAL, cell for cell and place for place."""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pyogrio
import pyproj
import pytest
import rasterio
from gis_reader import read_layer
from made_lines import SOUTH, WEST, grids, made_lines

from accuracy.errors import FormatError
from accuracy.formats.grid_write import NODATA, write_grid
from accuracy.georeferencing.record import UNKNOWN
from accuracy.georeferencing.reference import declared
from accuracy.reports.lines_gis import render_geopackage
from accuracy.reports.qgis_raster_style import class_words, classes
from accuracy.series.line_maps import DIVERGING

REFERENCE = declared("EPSG:6341+5703")


def test_the_raster_holds_every_difference_where_it_is(tmp_path: Path) -> None:
    """Values, corner, cell, system and no data of a GeoTIFF of several tiles, to the bit."""
    its = grids(0.001)
    values = np.tile(its.difference_m, (2, 2))
    path = tmp_path / "difference.tif"
    write_grid(path, values, (WEST, SOUTH + 320.0), 1.0, REFERENCE.horizontal_wkt, "metres")
    with rasterio.open(path) as raster:
        found = raster.read(1)
        assert raster.nodata == NODATA
        assert tuple(raster.transform)[:6] == (1.0, 0.0, WEST, 0.0, -1.0, SOUTH + 320.0)
        assert pyproj.CRS(raster.crs.to_wkt()).equals(
            pyproj.CRS("EPSG:6341"), ignore_axis_order=True
        )
        assert raster.descriptions == ("metres",)
    known = ~np.isnan(values)
    assert (found[known] == values[known]).all()
    assert (found[~known] == np.float32(NODATA)).all()


def test_a_raster_without_a_system_is_written_without_one(tmp_path: Path) -> None:
    """What is not known is not invented."""
    path = tmp_path / "d.tif"
    write_grid(path, np.zeros((2, 3), np.float32), (0.0, 2.0), 1.0, None, "metres")
    with rasterio.open(path) as raster:
        assert raster.crs is None


def test_a_raster_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    """One error of ours, with the path."""
    with pytest.raises(FormatError, match="cannot be written"):
        write_grid(tmp_path / "no" / "d.tif", np.zeros((2, 2), np.float32), (0, 2), 1, None, "m")


def test_layers_lie_where_the_lines_are(tmp_path: Path) -> None:
    """Tracks in order of flight, closed outlines, voids as boxes, in the horizontal system of the cloud."""
    record = made_lines(fault=0.0012)
    path = tmp_path / "lines.gpkg"
    path.write_bytes(render_geopackage(record, REFERENCE))
    assert [name for name, _ in pyogrio.list_layers(path)] == [
        "flight_lines",
        "swaths",
        "pairs",
        "voids",
    ]
    crs, kind, lines = read_layer(path, "flight_lines")
    assert kind == "LineString"
    assert pyproj.CRS(crs).equals(pyproj.CRS("EPSG:6341"), ignore_axis_order=True)
    for feature, line in zip(lines, record.lines, strict=True):
        assert feature["geometry"] == list(line.track)
        assert (feature["line"], feature["points"]) == (line.number, line.points)
        assert feature["density_per_m2"] == line.density_per_m2
    _, _, pairs = read_layer(path, "pairs")
    for feature, pair in zip(pairs, record.pairs, strict=True):
        assert feature["geometry"] == list(pair.outline)
        assert feature["geometry"][0] == feature["geometry"][-1]
        assert feature["mean_m"] == round(pair.differences.mean_m or 0.0, 6)
    assert np.isnan(pairs[0]["east_m"])  # flat: cannot be seen
    assert pairs[1]["east_se_m"] == 0.03
    _, _, voids = read_layer(path, "voids")
    west, south, east, north = record.coverage.voids[0].box
    assert set(voids[0]["geometry"]) == {(west, south), (east, south), (east, north), (west, north)}
    assert [bool(void["filled"]) for void in voids] == [False, True]


def test_the_same_record_gives_the_same_bytes() -> None:
    """With a system and without."""
    for reference in (REFERENCE, UNKNOWN):
        assert render_geopackage(made_lines(), reference) == render_geopackage(
            made_lines(), reference
        )


def test_the_style_covers_every_value_with_the_colours_of_the_picture() -> None:
    """One class for each colour, rising ends, the last open."""
    bounds = [round(0.02 * k, 3) for k in range(-6, 7)]
    colours = ["#{:02x}{:02x}{:02x}".format(*colour) for colour in DIVERGING]
    root = ElementTree.fromstring(classes(bounds, colours, "m").partition("\n")[2])
    items = list(root.iter("item"))
    assert [item.get("color") for item in items] == colours
    ends = [float(str(item.get("value"))) for item in items]
    assert ends == [*bounds, float("inf")]
    assert items[6].get("label") == "-0.02 to 0 m"
    assert class_words(bounds, 13) == "above +0.12"
    with pytest.raises(ValueError, match="one colour more"):
        classes(bounds, colours[:3], "m")
