"""One point step by step, and the sizes of usual mistakes, against closed forms and published values."""

from __future__ import annotations

import csv
import json
import math
import struct
import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))
from planning import go, places
from support import assert_metres

from accuracy.errors import UsageError
from accuracy.findings import Finding, Severity
from accuracy.georeferencing.carrying import Plan
from accuracy.georeferencing.datum import datum_data, look
from accuracy.georeferencing.grids import GridShelf
from accuracy.georeferencing.local_grid import Parameters, Sides, local_reference, stated
from accuracy.georeferencing.reference import UNKNOWN, Reference, declared
from accuracy.georeferencing.shown_coordinates import Coordinates
from accuracy.georeferencing.site_plan import plan_on_site
from accuracy.georeferencing.usual_mistakes import Mistake, usual_mistakes
from accuracy.georeferencing.utm import Zone, zone_of
from accuracy.georeferencing.walkthrough import Given, Walk, choose, walk
from accuracy.units import LengthUnit

#: GRS 80: semi-major axis in metres, flattening (Moritz 2000, Geodetic Reference System 1980).
A_M, F = 6378137.0, 1.0 / 298.257222101
UTM, ITRF = "EPSG:6342+5703", "EPSG:7912@2025.0"
DENVER = (-104.99, 39.74, 1600.0)


def constant_grid(path: Path, n_m: float) -> None:
    """Write a GTX grid with one value, 100 to 110 degrees west, 35 to 45 north (an invented geoid)."""
    head = struct.pack(">4d2i", 35.0, -110.0, 1.0, 1.0, 11, 11)
    path.write_bytes(head + np.full(121, n_m, ">f4").tobytes())


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Two models that are 0.25 m apart everywhere, and one that is broken."""
    constant_grid(tmp_path / "us_noaa_g2018u0.tif.gtx", -17.0)
    constant_grid(tmp_path / "one.gtx", -17.0)
    constant_grid(tmp_path / "other.gtx", -17.25)
    (tmp_path / "broken.gtx").write_bytes(b"not a grid")
    return tmp_path


FILES = {"GEOID18": "one.gtx", "GEOID12B": "other.gtx", "EGM96": "broken.gtx"}


def walked(
    source: str | Reference,
    target: str | Reference,
    at: tuple[float, float, float],
    folder: Path | None = None,
    geoids: tuple[str | None, str | None] = (None, None),
) -> tuple[Plan, Walk, dict[str, list[Mistake]]]:
    """Plan, walk and size mistakes at one point."""
    plan, _ = go(source, target, at, geoids=geoids, folder=folder, files=FILES)
    given = Given("P1", *at)
    shelf = GridShelf((folder,) if folder else (), FILES)
    by_kind: dict[str, list[Mistake]] = {}
    for mistake in usual_mistakes(plan, given, shelf, "cloud"):
        by_kind.setdefault(mistake.kind, []).append(mistake)
    return plan, walk(plan, given), by_kind


def values(shown: Coordinates) -> list[float]:
    found = [axis.value for axis in shown.axes]
    assert None not in found
    return [value for value in found if value is not None]


def vector(mistake: Mistake) -> list[float]:
    assert mistake.east_m is not None
    assert mistake.north_m is not None
    assert mistake.up_m is not None
    return [mistake.east_m, mistake.north_m, mistake.up_m]


def named(mistakes: list[Mistake], words: str) -> Mistake:
    found = [mistake for mistake in mistakes if words in mistake.what]
    assert len(found) == 1, [mistake.what for mistake in mistakes]
    return found[0]


def xyz(lon_deg: float, lat_deg: float, h_m: float) -> np.ndarray:
    """Geocentric coordinates on GRS 80, closed form."""
    lon, lat, e2 = math.radians(lon_deg), math.radians(lat_deg), F * (2.0 - F)
    n = A_M / math.sqrt(1.0 - e2 * math.sin(lat) ** 2)
    return np.array(
        [
            (n + h_m) * math.cos(lat) * math.cos(lon),
            (n + h_m) * math.cos(lat) * math.sin(lon),
            (n * (1.0 - e2) + h_m) * math.sin(lat),
        ]
    )


def nad83_minus_itrf2014(at: tuple[float, float, float], epoch_year: float) -> np.ndarray:
    """East, north, up of NAD83(2011) minus ITRF2014 coordinates of one place, written out here.

    Parameters of EPSG:8970 (coordinate frame rotation, 2010.0), as NGS publishes them; signs checked with
    the published pair NGS-1a in the self-test.
    """
    years = epoch_year - 2010.0
    shift = np.array([1.0053, -1.90921, -0.54157]) + years * np.array([0.79, -0.60, -1.44]) / 1e3
    mas = np.array([26.78138, -0.42027, 10.93206])
    mas = mas + years * np.array([0.06667, -0.75744, -0.05133])
    scale = (0.36891 - 0.07201 * years) * 1e-9
    rx, ry, rz = mas / 1e3 / 3600.0 * math.pi / 180.0
    turn = np.array([[1.0, rz, -ry], [-rz, 1.0, rx], [ry, -rx, 1.0]])
    here = xyz(*at)
    d = shift + (1.0 + scale) * turn @ here - here
    lon, lat = math.radians(at[0]), math.radians(at[1])
    up = np.array([math.cos(lat) * math.cos(lon), math.cos(lat) * math.sin(lon), math.sin(lat)])
    east = np.array([-math.sin(lon), math.cos(lon), 0.0])
    return np.array([d @ east, d @ np.cross(up, east), d @ up])


# --- the walk -------------------------------------------------------------------------------------------------


def test_published_coordinates_after_each_step() -> None:
    """The published ITRF2014 position of an NGS report has its published X, Y, Z before the Helmert step.

    Source: NGS OPUS report, station reac, December 2024; X, Y, Z to 1 mm.
    """
    at = (-119.2872358194, 47.1902810389, 328.615)
    plan, way, _ = walked("EPSG:7912@2024.9968", "EPSG:6317", at)
    assert way.stages[0].step.code == "EPSG:8970"
    before, after, geographic = way.stages[0].after
    assert (before.system, after.system) == ("ITRF2014", "NAD83(2011)")
    assert_metres(values(before), [-2124258.504, -3787360.891, 4656407.181], within_m=0.001)
    # The way back from longitude and latitude is the closed form.
    assert_metres(xyz(*values(geographic)), values(after), within_m=1e-6)
    assert way.result is not None
    assert_metres(values(way.result), values(after), within_m=1e-6)
    assert way.stages[0].moved_m == pytest.approx(nad83_minus_itrf2014(at, 2024.9968), abs=1e-5)
    assert plan.steps[0] == way.stages[0].step


PAIRS: list[tuple[str, str, tuple[float, float, float], tuple[str | None, str | None]]] = [
    (ITRF, UTM, DENVER, (None, "GEOID18")),
    (UTM, ITRF, (500000.0, 4400000.0, 1600.0), ("GEOID18", None)),
    (UTM, "EPSG:9990@2025.0", (500000.0, 4400000.0, 1600.0), ("GEOID18", None)),
    ("EPSG:6428+6360", UTM, (3140000.0, 1700000.0, 5249.0), ("GEOID18", "GEOID18")),
    ("EPSG:6428+6360", "EPSG:6318", (3140000.0, 1700000.0, 5249.0), (None, None)),
    ("EPSG:6430+8228", "EPSG:6319", (3140000.0, 1700000.0, 5249.0), ("GEOID12B", None)),
    ("EPSG:6319", "EPSG:6317", DENVER, (None, None)),
    ("EPSG:6317", UTM, (-1268400.0, -4744500.0, 4056900.0), (None, "GEOID18")),
    (UTM, UTM, (500000.0, 4400000.0, 1600.0), ("GEOID18", "GEOID12B")),
    ("EPSG:4936", "EPSG:4937", (3980000.0, 500000.0, 4960000.0), (None, None)),
]


@pytest.mark.parametrize(("source", "target", "at", "geoids"), PAIRS)
def test_the_walk_ends_where_the_plan_ends(
    source: str,
    target: str,
    at: tuple[float, float, float],
    geoids: tuple[str | None, str | None],
    folder: Path,
) -> None:
    """Step by step and in one go agree within 0.02 mm, and each step of the record stands in the walk."""
    plan, way, _ = walked(source, target, at, folder, geoids)
    assert way.result is not None
    assert way.closure_m is not None
    assert way.closure_m <= 0.00002
    expected = [float(v[0]) for v in plan.apply(*(np.array([value]) for value in at))]
    for axis, value in zip(way.result.axes, expected, strict=True):
        assert axis.value == (value if math.isfinite(value) else None)
    assert set(plan.steps) <= {stage.step for stage in way.stages}


def test_a_grid_step_shows_n(folder: Path) -> None:
    """Constant N = -17: H = h + 17, told with the name and hash of the grid, in a step of its own."""
    _, way, _ = walked("EPSG:6319", UTM, (*DENVER[:2], 1583.0), folder, (None, "GEOID18"))
    (stage,) = [stage for stage in way.stages if stage.n_m is not None]
    assert stage.n_m == -17.0
    assert stage.step.grid == "one.gtx"
    assert stage.step.sha256 is not None
    assert_metres(values(stage.after[-1])[2], 1600.0, within_m=1e-9)


def test_identity_is_shown_as_such() -> None:
    """The same system on both sides: the same numbers after every step, to the bit."""
    at = (500000.0, 4400000.0, 1600.0)
    plan, way, _ = walked(UTM, UTM, at, None, ("GEOID18", "GEOID18"))
    assert plan.horizontal == plan.vertical == "identity"
    assert way.result == way.given
    assert [stage.after for stage in way.stages] == [(way.given,)] * 2
    assert values(way.given) == list(at)


def test_a_refused_way_is_shown_up_to_the_refusal() -> None:
    """No epoch: where the point is on its own datum, and no result; the finding blocks."""
    plan, way, mistakes = walked("EPSG:7912", "EPSG:6319", DENVER)
    assert way.result is None
    assert way.closure_m is None
    (stage,) = way.stages
    assert_metres(values(stage.after[0]), DENVER, within_m=0.0)
    told = [Finding("crs-unknown", Severity.NOTE, "of another dataset", dataset="raster")]
    found = look(
        plan,
        "cloud",
        ["a.laz"],
        [*plan.findings, *told],
        places=places(*DENVER),
        point_id=None,
        shelf=GridShelf(),
    )
    assert found.blocked
    assert "crs-epoch-missing" in {finding.code for finding in found.findings}
    assert "crs-unknown" not in {finding.code for finding in found.findings}
    assert "no epoch is stated" in named(mistakes["frame"], "for NAD83(2011)").how


def test_a_refused_height_leaves_the_position(folder: Path) -> None:
    """The broken grid blocks heights only: the position is carried, the height has no number."""
    _, way, _ = walked(ITRF, UTM, DENVER, folder, (None, "GEOID09"))
    assert way.result is not None
    assert [axis.value is None for axis in way.result.axes] == [False, False, True]


def test_nothing_declared_gives_no_walk_and_no_numbers() -> None:
    """Of an unknown side nothing is computed, and each mistake says why."""
    _, way, mistakes = walked(UNKNOWN, UTM, (1.0, 2.0, 3.0))
    assert way.stages == ()
    assert way.result is not None  # numbers may be looked at, as the plan says
    for kind in ("frame", "epoch", "height-kind"):
        assert mistakes[kind][0].why_not


def test_the_first_judged_point_is_taken() -> None:
    """Control points are passed over; an unknown id is an error that names some that exist."""
    some = places([1.0, 2.0], [3.0, 4.0], [5.0, 6.0])
    some.judged[0] = False
    assert choose(some, None) == Given("P2", 2.0, 4.0, 6.0)
    assert choose(some, "P1").id == "P1"
    with pytest.raises(UsageError, match="P1, P2"):
        choose(some, "p1")


def test_data_can_be_written_as_json(folder: Path) -> None:
    """Plain data without NaN, sizes included."""
    plan, _, _ = walked(ITRF, UTM, DENVER, folder, (None, "GEOID09"))
    found = look(
        plan,
        "cloud",
        ["a.laz"],
        plan.findings,
        places=places(*DENVER),
        point_id="P1",
        shelf=GridShelf((folder,), FILES),
    )
    data = json.loads(json.dumps(datum_data(found), allow_nan=False))
    assert data["walk"]["point"] == "P1"
    assert data["walk"]["stages"][0]["step"]["code"] == "EPSG:8970"
    frame = next(mistake for mistake in data["mistakes"] if mistake["kind"] == "frame")
    assert frame["size_m"] == math.hypot(frame["east_m"], frame["north_m"], frame["up_m"])


def test_a_local_grid_is_a_step_of_its_own() -> None:
    """Checkpoints in a site grid: first to its projected system, then on; the foot of the site grid counts.

    The site grid is invented: international feet, 1000 ft east and 2000 ft north of the point
    (500 000 m, 4 400 000 m), no turn, no scale.
    """
    utm, foot = declared(UTM, geoid="GEOID18"), LengthUnit.FOOT
    sides = Sides("Hessoway yard grid", utm, foot, foot)
    shift = (-500_000.0 + 304.8, -4_400_000.0 + 609.6)
    local = stated(
        sides, Parameters("grid-to-local", 1.0, 0.0, 500_000.0, 4_400_000.0, *shift, 0.0)
    )
    at = (1100.0, 2000.0, 5000.0)
    plan = plan_on_site(
        local_reference(local),
        utm,
        local=local,
        source_local=True,
        target_local=False,
        dataset_name="cloud",
        places=places(*at),
    )
    way = walk(plan, Given("P1", *at))
    assert_metres(
        values(way.stages[0].after[0]), [500_000.0 + 30.48, 4_400_000.0, 1524.0], within_m=1e-6
    )
    assert way.result is not None
    assert_metres(values(way.result), values(way.stages[0].after[0]), within_m=1e-6)
    mistakes = usual_mistakes(plan, Given("P1", *at), GridShelf())
    other = named([m for m in mistakes if m.kind == "foot"], "feet taken for US survey feet")
    assert_metres(vector(other)[2], 5000.0 * (1200.0 / 3937.0 - 0.3048), within_m=1e-9)
    assert any("NAD83(2011) taken for ITRF2014" in m.what for m in mistakes)
    back = plan_on_site(
        utm,
        local_reference(local),
        local=local,
        source_local=False,
        target_local=True,
        dataset_name="cloud",
        places=places(500_030.48, 4_400_000.0, 1524.0),
    )
    way = walk(back, Given("P1", 500_030.48, 4_400_000.0, 1524.0))
    assert_metres(values(way.stages[-1].after[0]), at, within_m=1e-5)
    assert way.result == way.stages[-1].after[0]


# --- the usual mistakes ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(("source", "target", "at", "geoids"), PAIRS)
def test_each_mistake_has_numbers_or_a_reason(
    source: str,
    target: str,
    at: tuple[float, float, float],
    geoids: tuple[str | None, str | None],
    folder: Path,
) -> None:
    """Never both and never neither; every kind is spoken of."""
    _, _, mistakes = walked(source, target, at, folder, geoids)
    assert len(mistakes) == 8
    for mistake in (one for some in mistakes.values() for one in some):
        numbers = mistake.size_m is not None or mistake.scale_ppm is not None
        assert numbers != bool(mistake.why_not), mistake
        assert numbers == bool(mistake.how), mistake
        assert mistake.size_m is None or math.isfinite(mistake.size_m)


def test_the_other_foot_is_two_ppm() -> None:
    """3 000 000 ft read in the other foot: 1.8288 m; a height of 5280 ft: 3.2 mm (NIST definitions)."""
    _, _, mistakes = walked("EPSG:6428+6360", UTM, (3_000_000.0, 1_700_000.0, 5280.0))
    other = named(mistakes["foot"], "checkpoints: US survey feet taken for international feet")
    foot, survey_foot = 0.3048, 1200.0 / 3937.0
    expected = [n * (foot - survey_foot) for n in (3_000_000.0, 1_700_000.0, 5280.0)]
    assert_metres(vector(other), expected, within_m=1e-9)
    assert_metres(vector(other)[0], -1.8288, within_m=1e-5)
    assert_metres(vector(other)[2], -0.0032, within_m=1e-4)
    metres = named(mistakes["foot"], "checkpoints: US survey feet taken for metres")
    assert_metres(vector(metres)[0], 3_000_000.0 * (1.0 - survey_foot), within_m=1e-6)
    plane = named(mistakes["foot"], "cloud: metres taken for US survey feet")
    assert vector(plane)[0] < 0.0


def test_feet_of_heights_alone() -> None:
    """A metre plane with heights in feet: only the height moves, and it is said so."""
    _, _, mistakes = walked("EPSG:6342+6360", UTM, (500000.0, 4400000.0, 5249.0))
    metres = named(mistakes["foot"], "checkpoints: US survey feet of the heights taken for metres")
    assert_metres(vector(metres), [0.0, 0.0, 5249.0 * (1.0 - 1200.0 / 3937.0)], within_m=1e-9)


def test_all_in_metres_no_foot() -> None:
    """Without feet the mistake does not apply."""
    _, _, mistakes = walked(UTM, UTM, (500000.0, 4400000.0, 1600.0))
    assert [mistake.why_not for mistake in mistakes["foot"]] == ["does not apply: all in metres"]


def test_another_geoid_model(folder: Path) -> None:
    """Constant models 0.25 m apart: H by the other model is 0.25 m higher; a broken grid says so."""
    at = (500000.0, 4400000.0, 1600.0)
    _, _, mistakes = walked(UTM, UTM, at, folder, ("GEOID18", "GEOID18"))
    (known,) = [mistake for mistake in mistakes["geoid"] if not mistake.why_not]
    assert "GEOID12B in the place of GEOID18" in known.what
    assert_metres(vector(known), [0.0, 0.0, 0.25], within_m=1e-6)
    _, _, without = walked(UTM, UTM, at, None, ("GEOID18", "GEOID18"))
    assert all("grid not here" in mistake.why_not for mistake in without["geoid"])
    _, _, unnamed = walked(UTM, UTM, at, folder)
    assert "GEOID18 -17.0000 m, GEOID12B -17.2500 m" in unnamed["geoid"][0].why_not


def test_ellipsoidal_taken_for_orthometric(folder: Path) -> None:
    """H = h - N with N = -17: an ellipsoidal height is 17 m too low as H, and the other way round."""
    _, _, mistakes = walked("EPSG:6319", UTM, DENVER, folder, (None, "GEOID18"))
    checkpoints, cloud = mistakes["height-kind"]
    assert_metres(vector(checkpoints), [0.0, 0.0, -17.0], within_m=1e-6)
    assert_metres(vector(cloud), [0.0, 0.0, 17.0], within_m=1e-6)
    _, _, without = walked("EPSG:6319", "EPSG:6318", DENVER)
    assert "no grid here" in without["height-kind"][0].why_not


@pytest.mark.parametrize("epoch_year", [2010.0, 2024.5])
def test_one_frame_for_another(epoch_year: float) -> None:
    """ITRF2014 numbers taken for NAD83(2011): minus the Helmert shift written out in this test."""
    _, _, mistakes = walked(f"EPSG:7912@{epoch_year}", "EPSG:6319", DENVER)
    taken = named(mistakes["frame"], "ITRF2014 taken for NAD83(2011)")
    assert_metres(vector(taken), -nad83_minus_itrf2014(DENVER, epoch_year), within_m=0.0001)
    assert "EPSG:8970" in taken.how
    _, _, mistakes = walked("EPSG:6319", f"EPSG:7912@{epoch_year}", DENVER)
    taken = named(mistakes["frame"], "NAD83(2011) taken for ITRF2014")
    assert_metres(vector(taken), nad83_minus_itrf2014(DENVER, epoch_year), within_m=0.0001)


@pytest.mark.parametrize(
    ("system", "at", "words", "low_m", "high_m"),
    [
        ("EPSG:7931@2025.0", (13.4, 52.52, 60.0), "ETRF2000 taken for ITRF2014", 0.85, 0.95),
        ("EPSG:7844", (151.21, -33.87, 20.0), "GDA2020 taken for ITRF2014", 0.27, 0.30),
        ("EPSG:4283", (115.86, -31.95, 20.0), "GDA94 taken for GDA2020", 1.75, 1.85),
    ],
)
def test_frames_of_other_plates(
    system: str, at: tuple[float, float, float], words: str, low_m: float, high_m: float
) -> None:
    """Europe and Australia: sizes as measured apart from this tool (pyproj 3.7.2), at 2025.0."""
    _, _, mistakes = walked(system, system, at)
    assert low_m < math.hypot(*vector(named(mistakes["frame"], words))[:2]) < high_m


def test_an_ensemble_is_read_both_ways() -> None:
    """WGS 84 without realisation: what it would be to take the one reading for the local frame."""
    _, _, mistakes = walked("EPSG:32613+5703", "EPSG:32613+5703", (500000.0, 4400000.0, 1600.0))
    taken = named(mistakes["frame"], "taken for NAD83(2011)")
    assert "read as WGS 84 (G2296)" in taken.what
    assert taken.size_m is not None
    assert 1.0 < taken.size_m < 2.0


def test_no_operation_no_number() -> None:
    """A frame outside the list gets no guess."""
    _, _, mistakes = walked("EPSG:27700+5701", "EPSG:27700+5701", (530000.0, 180000.0, 16.0))
    assert all("no named operation" in mistake.why_not for mistake in mistakes["frame"])


def test_the_epoch_dropped() -> None:
    """At its reference epoch 2010.0 the operation gives another place: difference of two Helmerts here."""
    expected = nad83_minus_itrf2014(DENVER, 2010.0) - nad83_minus_itrf2014(DENVER, 2025.0)
    _, _, mistakes = walked(ITRF, "EPSG:6319", DENVER)
    (dropped,) = mistakes["epoch"]
    assert_metres(vector(dropped), expected, within_m=0.0001)
    assert "in this chain" in dropped.what
    # Measured apart from this tool with pyproj 3.7.2 in Denver: (0.243, 0.100, -0.016) m, the other sign.
    assert_metres(vector(dropped), [-0.243, -0.100, 0.016], within_m=0.001)
    _, _, identity = walked("EPSG:6319", "EPSG:6319", DENVER)
    assert "not in this chain" in identity["epoch"][0].what
    assert_metres(vector(identity["epoch"][0]), expected, within_m=0.0001)


def test_exchanged_axes() -> None:
    """Easting and northing exchanged: plus and minus their difference; noticed by the area or not."""
    _, _, mistakes = walked(UTM, UTM, (500000.0, 4400000.0, 1600.0))
    (utm,) = mistakes["axes"]
    assert vector(utm) == [3_900_000.0, -3_900_000.0, 0.0]
    assert "leaves" in utm.how
    _, _, mistakes = walked("EPSG:27700+5701", "EPSG:27700+5701", (530000.0, 180000.0, 16.0))
    assert "stays" in mistakes["axes"][0].how
    _, _, mistakes = walked("EPSG:6319", "EPSG:6319", DENVER)
    assert "noticed at once" in mistakes["axes"][0].why_not


def test_the_neighbouring_zone_is_symmetric_at_the_border() -> None:
    """On the border of two zones eastings mirror at 500 000 m and northings are equal.

    At 40 N on 102 W the difference is -512 199.3 m (measured apart from this tool with pyproj 3.7.2).
    """
    _, _, mistakes = walked("EPSG:6318", "EPSG:6342", (-102.0, 40.0, 0.0))
    east = named(mistakes["zone"], "in UTM zone 14 in the place of 13")
    plan, carried = go("EPSG:6318", "EPSG:6342", (-102.0, 40.0, 0.0))
    assert_metres(vector(east), [1e6 - 2.0 * carried[0, 0], 0.0, 0.0], within_m=0.0001)
    assert_metres(vector(east)[0], -512_199.3, within_m=0.1)
    assert zone_of(plan.target) == Zone(13, south=False)


@pytest.mark.parametrize(
    ("system", "zone"),
    [
        ("EPSG:32733", Zone(33, south=True)),
        ("EPSG:25832", Zone(32, south=False)),
        ("EPSG:6428", None),
        ("EPSG:2193", None),
        ("EPSG:6318", None),
    ],
)
def test_zones_are_known_by_their_parameters(system: str, zone: Zone | None) -> None:
    """The name of a system counts for nothing; New Zealand's transverse Mercator is no UTM zone."""
    assert zone_of(declared(system)) == zone
    assert Zone(60, south=False).neighbour(1) == Zone(1, south=False)


def test_distances_in_the_plane_and_on_the_ground(folder: Path) -> None:
    """On the central meridian: 0.9996 R / (R + h), 1600 m high -651 ppm, 65 mm in 100 m.

    Closed form with the mean radius of 6371 km (common practice).
    """
    _, _, mistakes = walked(UTM, UTM, (500000.0, 4400000.0, 1617.0), folder, ("GEOID18", "GEOID18"))
    (ground,) = mistakes["ground-distance"]
    expected = (0.9996 * 6_371_000.0 / (6_371_000.0 + 1600.0) - 1.0) * 1e6
    assert ground.scale_ppm is not None
    assert abs(ground.scale_ppm - expected) <= 0.05
    assert abs(ground.scale_ppm + 651.0) <= 0.5
    assert ground.mm_per_100_m == ground.scale_ppm / 10.0
    _, _, degrees = walked("EPSG:6319", "EPSG:6319", DENVER)
    assert "no side is in a plane" in degrees["ground-distance"][0].why_not


@pytest.mark.shared_data
def test_vectors_at_twelve_places_of_the_collected_table(shared_geodesy: Path) -> None:
    """The vectors of the collected table (measured with pyproj 3.7.2), each within 0.2 mm."""
    with (shared_geodesy / "measured_itrf_minus_nad83_2011.csv").open(encoding="utf-8") as file:
        rows = [row for row in csv.DictReader(file) if row["epoch"] == "2025.0"]
    assert len(rows) > 20
    codes = {"ITRF2014": "EPSG:7912", "ITRF2020": "EPSG:9989"}
    for row in rows:
        at = (float(row["lon_deg"]), float(row["lat_deg"]), float(row["h_m"]))
        _, _, mistakes = walked(f"{codes[row['itrf']]}@2025.0", "EPSG:6319", at)
        taken = named(mistakes["frame"], f"{row['itrf']} taken for NAD83(2011)")
        expected = [float(row[f"{axis}_m"]) for axis in "ENU"]
        assert_metres(vector(taken), expected, within_m=0.0002)
