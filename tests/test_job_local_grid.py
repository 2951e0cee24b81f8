"""The section [local_grid] of a job; every site and number here is invented."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from support import assert_metres

from accuracy.errors import JobError
from accuracy.georeferencing.local_grid import LocalGrid, Parameters, Sides, fitted, stated
from accuracy.georeferencing.reference import declared
from accuracy.inputs.grid_pairs import GridPair
from accuracy.job import Job, job_schema, load_job
from accuracy.job.local_grid import LocalGridSection
from accuracy.job.mistakes import problems_of
from accuracy.units import LengthUnit

JOB = """\
[job]
title = "Kiln floor"

[checkpoints]
file = "site.csv"
crs = "local"

[[dataset]]
name = "cloud"
kind = "point-cloud"
files = ["a.laz"]
crs = "EPSG:6341+5703"

"""
STATED = """\
[local_grid]
crs = "EPSG:6341+5703"
geoid = "GEOID18"
local_unit = "us-survey-foot"
direction = "local-to-grid"
origin_easting = 10000
origin_northing = 50000.0
combined_factor = 0.99934902
rotation_counter_clockwise_deg = 1.5
translation_east_m = 400000.0
translation_north_m = 4400000.0
vertical_shift_m = -12.25
tilt_north_m_per_m = 1e-5
"""
FILE = """\
[local_grid]
crs = "EPSG:6341+5703"
local_unit = "metre"
local_height_unit = "foot"
pairs = "pairs.csv"
vertical_model = "shift"
tolerance_m = 0.03
"""
INLINE = """\
[local_grid]
crs = "EPSG:6341"
local_unit = "metre"

[[local_grid.pair]]
id = "A"
local_easting = 1000
local_northing = 5000
easting = 412345.0
northing = 4412345.0

[[local_grid.pair]]
id = "B"
local_easting = 1300.0
local_northing = 5400.0
easting = 412645.0
northing = 4412745.0
"""


@pytest.fixture
def site(tmp_path: Path) -> Path:
    """Make the files that the jobs name; empty, because a job is read without opening them."""
    for name in ("site.csv", "a.laz", "pairs.csv", "more-pairs.csv"):
        (tmp_path / name).touch()
    return tmp_path


def no_check(*_: Any) -> list[Any]:
    return []


def load(folder: Path, text: str) -> Job:
    (folder / "job.toml").write_text(text, encoding="utf-8")
    return load_job(folder / "job.toml", no_check)


def problems(folder: Path, text: str) -> dict[str, str]:
    with pytest.raises(JobError) as caught:
        load(folder, text)
    return {p.where: f"{p.found}; {p.allowed}" for p in caught.value.problems}


def section(job: Job) -> LocalGridSection:
    assert job.local_grid is not None
    return job.local_grid


def sides(said: LocalGridSection) -> Sides:
    reference = declared(said.crs, geoid=said.geoid, epoch_year=said.epoch)
    return Sides(said.name, reference, said.local_unit, said.height_unit)


def from_parameters(said: LocalGridSection) -> LocalGrid:
    assert said.direction is not None
    return stated(
        sides(said),
        Parameters(
            said.direction,
            said.scale_stated,
            said.clockwise_deg,
            said.origin_easting or 0.0,
            said.origin_northing or 0.0,
            said.translation_east_m or 0.0,
            said.translation_north_m or 0.0,
            said.vertical_shift_m,
            said.tilt_north_m_per_m or 0.0,
            said.tilt_east_m_per_m or 0.0,
        ),
    )


def test_stated_parameters(site: Path) -> None:
    """Every key arrives; the height unit follows the local unit; the factor and the turn become one number."""
    said = section(load(site, JOB + STATED))
    assert (said.name, said.local_unit, said.height_unit) == (
        "local site grid",
        LengthUnit.US_SURVEY_FOOT,
        LengthUnit.US_SURVEY_FOOT,
    )
    assert (said.scale_stated, said.clockwise_deg) == (0.99934902, -1.5)
    assert said.located is None
    assert from_parameters(said).sides.grid.geoid == "GEOID18"
    other = section(load(site, JOB + STATED.replace("local-to-grid", "grid-to-local")))
    assert other.scale_stated == pytest.approx(1.0 / 0.99934902, abs=1e-15)
    plain = STATED.replace("combined_factor = 0.99934902", "scale = 1.0002").replace("counter_", "")
    said = section(load(site, JOB + plain))
    assert (said.scale_stated, said.clockwise_deg) == (1.0002, 1.5)


def test_a_job_carries_a_point_as_calculated_by_hand(site: Path) -> None:
    """3937 US survey feet (1200 m) north of the origin: shrunk, turned counter-clockwise, moved.

    By hand: 1200 m * 0.99934902 = 1199.218824 m; sin 1.5 deg = 0.026176948, cos = 0.999657325; the origin
    10000 and 50000 US survey feet is 3048.006096 m and 15240.030480 m.
    """
    local = from_parameters(section(load(site, JOB + STATED)))
    height_ft = np.array([3937.0])
    e, n, h = local.to_grid(np.array([10000.0]), np.array([50000.0 + 3937.0]), height_ft)
    assert h is not None
    assert_metres(e, 403048.006096 - 1199.218824 * 0.026176948, within_m=2e-6)
    assert_metres(n, 4415240.030480 + 1199.218824 * 0.999657325, within_m=2e-6)
    assert_metres(h, 1200.0 - 12.25 + 1200.0 * 1e-5, within_m=1e-9)


def test_a_table_of_pairs_is_found(site: Path) -> None:
    """The table is a file of the job, found from its folder."""
    said = section(load(site, JOB + FILE))
    assert said.located is not None
    assert said.located.path.samefile(site / "pairs.csv")
    assert (said.height_unit, said.vertical_model, said.tolerance_m) == (
        LengthUnit.FOOT,
        "shift",
        0.03,
    )


def test_inline_pairs(site: Path) -> None:
    """Pairs in the job have the fields of pairs in a table, and can be fitted."""
    said = section(load(site, JOB + INLINE))
    pairs = [GridPair(**pair.model_dump()) for pair in said.pair]
    assert pairs[0] == GridPair("A", 1000.0, 5000.0, 412345.0, 4412345.0)
    local = fitted(sides(said), pairs)
    assert (local.scale, local.rotation_clockwise_deg) == (
        pytest.approx(1.0, abs=1e-12),
        pytest.approx(0.0, abs=1e-9),
    )


def test_a_pure_translation_needs_no_origin(site: Path) -> None:
    """Cut coordinates: nothing is scaled or turned, so nothing has a centre."""
    text = (
        '[local_grid]\ncrs = "EPSG:6341"\nlocal_unit = "metre"\ndirection = "grid-to-local"\n'
        "scale = 1.0\ntranslation_east_m = -400000.0\ntranslation_north_m = -4400000.0\n"
    )
    local = from_parameters(section(load(site, JOB + text)))
    e, n, _ = local.to_local(np.array([412345.678]), np.array([4412345.432]))
    assert_metres([e[0], n[0]], [12345.678, 12345.432], within_m=1e-9)


#: What is changed in which section, place of a problem, what must be said.
BAD: list[tuple[str, str, str, str, str]] = [
    (STATED, 'direction = "local-to-grid"\n', "", "local_grid.direction", "must be stated"),
    (STATED, '"local-to-grid"', '"to-local"', "local_grid.direction", "grid-to-local"),
    (
        STATED,
        "combined_factor = 0.99934902\n",
        "",
        "local_grid.scale",
        "state it, or combined_factor",
    ),
    (
        STATED,
        "combined_factor",
        "scale = 1.0\ncombined_factor",
        "local_grid.combined_factor",
        "keep one",
    ),
    (STATED, "0.99934902", "0.3048", "local_grid.combined_factor", "at least 0.5"),
    (STATED, "0.99934902", "3.28", "local_grid.combined_factor", "at most 2"),
    (
        STATED,
        "rotation_",
        "rotation_clockwise_deg = 1\nrotation_",
        "local_grid.rotation_counter_clockwise_deg",
        "stands beside rotation_clockwise_deg",
    ),
    (
        STATED,
        "rotation_counter_clockwise_deg",
        "rotation_deg",
        "local_grid.rotation_deg",
        "did you mean",
    ),
    (STATED, "origin_easting = 10000\n", "", "local_grid.origin_easting", "combined_factor"),
    (STATED, "origin_northing = 50000.0\n", "", "local_grid.origin_northing", "tilt_north_m_per_m"),
    (
        STATED,
        "vertical_shift_m = -12.25\n",
        "",
        "local_grid.vertical_shift_m",
        "needed by tilt_north",
    ),
    (STATED, "1e-5", "1.0", "local_grid.tilt_north_m_per_m", "at most 0.1"),
    (STATED, "1e-5", "1e-5\ntolerance_m = 0.1", "local_grid.tolerance_m", "only for pairs"),
    (STATED, 'local_unit = "us-survey-foot"\n', "", "local_grid.local_unit", "required"),
    (STATED, '"us-survey-foot"', '"us-feet"', "local_grid.local_unit", "us-survey-foot"),
    (STATED, 'crs = "EPSG:6341+5703"\n', "", "local_grid.crs", "required"),
    (STATED, 'geoid = "GEOID18"', "epoch = 25", "local_grid.epoch", "in full"),
    (STATED, "-12.25", "nan", "local_grid.vertical_shift_m", "finite"),
    (STATED, "[local_grid]", "[[local_grid]]", "local_grid", "write [local_grid]"),
    (FILE, '"pairs.csv"', '"pears.csv"', "local_grid.pairs", "did you mean pairs.csv"),
    (FILE, '"pairs.csv"', '"*pairs.csv"', "local_grid.pairs", "names 2 files"),
    (FILE, 'pairs = "pairs.csv"\n', "", "local_grid", "neither parameters nor pairs"),
    (FILE, "tolerance_m = 0.03", "tolerance_m = 0", "local_grid.tolerance_m", "greater than 0"),
    (FILE, '"shift"', '"tilt"', "local_grid.vertical_model", "must be one of shift, plane"),
    (FILE, "tolerance_m", "scale = 1.0\ntolerance_m", "local_grid.scale", "fitted to the pairs"),
    (INLINE, '"B"', '"A"', "local_grid.pair[1].id", "local_grid.pair[0] has this id"),
    (
        INLINE,
        "easting = 412645.0",
        "easting = 412645.0\nheight = 1",
        "local_grid.pair[1].local_height",
        "give both heights or none",
    ),
    (INLINE, "local_easting = 1000\n", "", "local_grid.pair[0].local_easting", "required"),
    (
        INLINE,
        "local_easting = 1000",
        "local_east = 1000",
        "local_grid.pair[0].local_east",
        "did you mean local_easting",
    ),
    (
        INLINE,
        '"metre"\n',
        '"metre"\npairs = "pairs.csv"\n',
        "local_grid.pair",
        "keep the table or the list",
    ),
    (INLINE, INLINE[INLINE.rindex("[[") :], "", "local_grid.pair", "at least two pairs"),
]
#: Second problems that a change makes by itself: a misspelt key is missing, too.
SECOND = {
    "local_east = 1000": {"local_grid.pair[0].local_easting"},
}


@pytest.mark.parametrize(
    ("good", "old", "new", "where", "part"), BAD, ids=lambda v: str(v)[-30:].strip()
)
def test_bad_sections(site: Path, good: str, old: str, new: str, where: str, part: str) -> None:
    """Each mistake is told at the path of its key, with what is allowed, and nothing else is complained of."""
    assert good.count(old) >= 1
    found = problems(site, JOB + good.replace(old, new, 1))
    assert part in found.pop(where)
    beside = {w for g, o, n, w, _ in BAD if (g, o, n) == (good, old, new)} | SECOND.get(new, set())
    assert set(found) <= beside


@pytest.mark.parametrize(
    ("old", "new", "where", "part"),
    [
        ('crs = "local"\n', 'crs = "Local"\n', "checkpoints.crs", 'write "local" exactly'),
        ('crs = "local"\n', "", "local_grid", "no side is said to be in the local grid"),
        ('crs = "local"\n', 'crs = "local"\ngeoid = "G"\n', "checkpoints.geoid", "[local_grid]"),
        ('crs = "local"\n', 'crs = "local"\nepoch = 2010\n', "checkpoints.epoch", "[local_grid]"),
    ],
)
def test_the_sides_and_the_section(site: Path, old: str, new: str, where: str, part: str) -> None:
    """A section that no side uses, and facts that belong to the section, are mistakes."""
    found = problems(site, JOB.replace(old, new) + STATED)
    assert part in found.pop(where)
    assert found == {}


def test_a_side_needs_the_section(site: Path) -> None:
    """A side in the local grid without a section that ties it is a mistake, checkpoints and datasets alike."""
    assert "needs a section [local_grid]" in problems(site, JOB)["checkpoints.crs"]
    swapped = JOB.replace('crs = "local"', 'crs = "EPSG:6341"').replace(
        '"EPSG:6341+5703"', '"local"'
    )
    assert "needs a section [local_grid]" in problems(site, swapped)["dataset[0].crs"]
    assert section(load(site, swapped + STATED)).direction == "local-to-grid"


KEYS = st.sampled_from([*LocalGridSection.model_fields, "id", "easting", "height", "", "x.y"])
VALUES = st.recursive(
    st.sampled_from(["local", "pairs.csv", "", 0, 1, -1.5, True, None, 1e300, "shift", "metre"]),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(KEYS, inner, max_size=4),
)


@given(grid=VALUES | st.dictionaries(KEYS, VALUES), crs=VALUES)
def test_any_section_gives_problems_with_places(
    tmp_path_factory: pytest.TempPathFactory, grid: Any, crs: Any
) -> None:
    """Whatever stands in the section, the answer is a list of problems, each with a place and a text."""
    data = {"checkpoints": {"crs": crs}, "local_grid": grid, "dataset": [{"crs": "local"}]}
    found = problems_of(data, tmp_path_factory.getbasetemp(), no_check)
    assert found
    assert all(problem.where and problem.found for problem in found)


@pytest.mark.parametrize("text", [STATED, FILE, INLINE])
def test_the_section_as_read_fits_the_schema(site: Path, text: str) -> None:
    """The record of the job is JSON that the schema for editors accepts; a wrong key it refuses."""
    read = load(site, JOB + text).as_read()
    assert json.loads(json.dumps(read, allow_nan=False)) == read
    validator = jsonschema.Draft202012Validator(job_schema())
    validator.validate(read)
    read["local_grid"]["rotation_deg"] = 1.0
    assert not validator.is_valid(read)
