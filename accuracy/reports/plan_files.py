"""A plan of checkpoints as files: table, GIS files, text and field sheet."""

from __future__ import annotations

import csv
import io
import json
from typing import Any

import numpy as np

from accuracy.formats.geopackage import Feature, FieldType, Layer, SpatialReference, geopackage
from accuracy.georeferencing.geodetic import to_points, why_unsupported
from accuracy.georeferencing.wkt_forms import wkt_forms
from accuracy.planning.records import FieldPlan, PlannedPoint
from accuracy.reports import plan_text
from accuracy.reports.as_pdf import typeset
from accuracy.reports.words import printable
from accuracy.units import LengthUnit

TEMPLATE = "field_sheet.typ"

#: As the reader of checkpoint tables understands them.
_SUFFIX = {
    LengthUnit.METRE: "",
    LengthUnit.FOOT: "_ft",
    LengthUnit.US_SURVEY_FOOT: "_ftus",
    None: "",
}

_FIELDS: dict[str, FieldType] = {
    "id": "TEXT",
    "cover": "TEXT",
    "slope_deg": "REAL",
    "deviation_m": "REAL",
}


def render_plan(plan: FieldPlan) -> dict[str, bytes]:
    """Give all files of a plan by their names; the same bytes for the same plan."""
    return {
        "plan.txt": plan_text.render(plan).encode(),
        "plan.csv": _table(plan),
        "plan.geojson": _geojson(plan),
        "plan.gpkg": _geopackage(plan),
        "field-sheet.pdf": typeset(sheet(plan), TEMPLATE),
    }


def _table(plan: FieldPlan) -> bytes:
    horizontal = _SUFFIX[plan.reference.horizontal_unit]
    vertical = _SUFFIX[plan.reference.vertical_unit]
    text = io.StringIO()
    rows = csv.writer(text, lineterminator="\r\n")
    names = [f"easting{horizontal}", f"northing{horizontal}", f"height{vertical}"]
    rows.writerow(["id", *names, "cover", "description"])
    for point in plan.points:
        height = "" if point.height is None else f"{point.height:.2f}"
        rows.writerow(
            [
                point.id,
                f"{point.easting:.2f}",
                f"{point.northing:.2f}",
                height,
                point.cover,
                _ground(point),
            ]
        )
    return text.getvalue().encode()


def _ground(point: PlannedPoint) -> str:
    if point.slope_deg is None or point.deviation_m is None:
        return "planned"
    return f"planned; slope {point.slope_deg:.1f} degrees; {point.deviation_m:.3f} m off a plane"


def _geojson(plan: FieldPlan) -> bytes:
    reference = plan.reference
    why_not = why_unsupported(reference) if reference.horizontal_known else "system not known"
    places: list[list[float] | None] = [None] * len(plan.points)
    if why_not is None and plan.points:
        east, north = np.array([(p.easting, p.northing) for p in plan.points]).T
        found = to_points(reference, east, north, np.zeros(len(east)))
        places = [
            [round(float(lon), 9), round(float(lat), 9)]
            for lon, lat in zip(found.lon_deg, found.lat_deg, strict=True)
        ]
    features = [
        {
            "type": "Feature",
            "geometry": None if place is None else {"type": "Point", "coordinates": place},
            "properties": {
                "id": point.id,
                "cover": point.cover,
                "native_easting": point.easting,
                "native_northing": point.northing,
                "slope_deg": point.slope_deg,
                "deviation_m": point.deviation_m,
            },
        }
        for point, place in zip(plan.points, places, strict=True)
    ]
    data = {
        "type": "FeatureCollection",
        "accuracy_note": "Degrees are those of the frame named, not transformed to WGS 84; native_* are in "
        "the reference system.",
        "accuracy_reference_system": printable(reference.name),
        "accuracy_frame": printable(reference.frame or ""),
        "features": features,
    }
    return (json.dumps(data, ensure_ascii=False, allow_nan=False, indent=1) + "\n").encode()


def _geopackage(plan: FieldPlan) -> bytes:
    reference = SpatialReference("unknown")
    if plan.reference.wkt is not None:
        forms = wkt_forms(plan.reference.wkt)
        reference = SpatialReference(
            printable(forms.name), forms.wkt1, forms.wkt2, forms.epsg, forms.geographic
        )
    layer = Layer(
        name="planned_checkpoints",
        title="Planned checkpoints",
        description="Places to survey; heights, where there are any, are those of the elevation raster",
        kind="POINT",
        reference=reference,
        fields=_FIELDS,
        features=[
            Feature(
                (
                    (p.easting, p.northing)
                    if p.height is None
                    else (p.easting, p.northing, p.height),
                ),
                (p.id, p.cover, p.slope_deg, p.deviation_m),
            )
            for p in plan.points
        ],
    )
    return geopackage([layer])


def sheet(plan: FieldPlan) -> dict[str, Any]:
    """Give the content of the field sheet."""
    unit = plan.reference.horizontal_unit or LengthUnit.METRE
    east = [p.easting for p in plan.points] or [0.0]
    north = [p.northing for p in plan.points] or [0.0]
    reach = max(max(east) - min(east), max(north) - min(north)) or 1.0
    survey = []
    for want in plan.wants:
        if want.survey_allowed_m is not None:
            good = [method.name for method in want.methods if method.enough]
            survey.append(
                f"{printable(want.measure)} ({printable(want.standard)}): survey RMSE at most "
                f"{want.survey_allowed_m:.3f} m; good enough by published figures: "
                f"{', '.join(good) or 'none of the methods listed'}"
            )
    return {
        "title": printable(plan.title),
        "site": printable(plan.site),
        "system": printable(plan.reference.name),
        "unit": unit.print_name,
        "area": f"{plan.area_km2:.4g} km2, {plan.area_from}",
        "seed": str(plan.seed),
        "wide": (max(east) - min(east)) / reach,
        "high": (max(north) - min(north)) / reach,
        "points": [
            {
                "id": p.id,
                "east": f"{p.easting:.2f}",
                "north": f"{p.northing:.2f}",
                "slope": "" if p.slope_deg is None else f"{p.slope_deg:.1f}",
                "vegetated": p.cover == "vegetated",
                "x": (p.easting - min(east)) / reach,
                "y": (max(north) - p.northing) / reach,
            }
            for p in plan.points
        ],
        "survey": list(dict.fromkeys(survey)),
        "confirm": [printable(text) for text in plan.confirm],
    }
