"""Job files: every job, name and place here is invented."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Mapping
from datetime import date
from pathlib import Path, PurePosixPath, PureWindowsPath
from typing import Any

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from accuracy.errors import ExitCode, JobError, Problem
from accuracy.job import Job, job_schema, load_job
from accuracy.job.files import as_written, located
from accuracy.job.mistakes import problems_of
from accuracy.job.values import HEIGHT_METHODS, epoch_mistake, order_mistake
from accuracy.units import LengthUnit

GOOD = """\
[job]
title = "Heap survey"
site = "Fenwick Quarry"
flown = 2026-05-14
display_units = "us-survey-foot"

[checkpoints]
file = "checkpoints/site.csv"
crs = "EPSG:6345+5703"
epoch = 2010
geoid = "GEOID18"
order = "penz"
survey_rmse_h_m = 0.010
survey_rmse_v_m = 0.015
control = ["C1", "007"]

[[checkpoints.exclude]]
id = "CP07"
reason = "disturbed before the flight"

[[dataset]]
name = "ground cloud"
kind = "point-cloud"
files = ["cloud/*.laz"]

[[dataset]]
name = "model"
kind = "raster"
files = ["dem.tif"]
band = 2

[[dataset]]
name = "targets"
kind = "measured-points"
files = ["measured.csv"]

[[claim]]
dataset = "ground cloud"
standard = "asprs-2024"
vertical_class_cm = 5.0

[[claim]]
dataset = "targets"
standard = "asprs-2024"
horizontal_class_cm = 10

[processing]
software = "in-house, 3.1"
strips = [1, 2]

[report]
number = "26-014"
"""


def no_check(standard: str, keys: Mapping[str, Any], where: str, folder: Path) -> list[Problem]:
    return []


@pytest.fixture
def site(tmp_path: Path) -> Path:
    """Make the files that the good job names; empty, because a job is read without opening them."""
    names = ("checkpoints/site.csv", "cloud/b.laz", "cloud/a.laz", "cloud/note.txt", "dem.tif")
    for name in (*names, "measured.csv", "plan [old].csv"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).touch()
    return tmp_path


def load(folder: Path, text: str, check: Callable[..., list[Problem]] | None = no_check) -> Job:
    path = folder / "job.toml"
    path.write_bytes(text.encode("utf-8"))
    return load_job(path, check)


def problems(folder: Path, text: str) -> dict[str, str]:
    """Load a bad job; give the place of each problem with what is said of it."""
    with pytest.raises(JobError) as caught:
        load(folder, text)
    assert "job.toml" in str(caught.value)
    assert caught.value.exit_code is ExitCode.COULD_NOT_RUN
    return {p.where: f"{p.found}; {p.allowed}" for p in caught.value.problems}


def changed(old: str, new: str) -> str:
    assert GOOD.count(old) == 1, f"{old!r} stands {GOOD.count(old)} times in the good job"
    return GOOD.replace(old, new)


def test_a_good_job(site: Path) -> None:
    """Attributes carry the names of the keys; defaults depend on the kind of dataset."""
    job = load(site, GOOD)
    assert job.job.title == "Heap survey"
    assert job.job.flown == date(2026, 5, 14)
    assert job.job.display_units is LengthUnit.US_SURVEY_FOOT
    assert (job.checkpoints.epoch, job.checkpoints.order) == (2010.0, "PENZ")
    assert (job.checkpoints.survey_rmse_h_m, job.checkpoints.survey_rmse_v_m) == (0.010, 0.015)
    assert job.checkpoints.control == ("C1", "007")
    assert [(e.id, e.reason) for e in job.checkpoints.exclude] == [
        ("CP07", "disturbed before the flight")
    ]
    cloud, raster, measured = job.dataset
    assert (cloud.height, cloud.ground_classes, cloud.adjusted_to_points) == ("tin", (2,), False)
    assert (raster.height, raster.ground_classes, raster.band) == ("bilinear", (), 2)
    assert (measured.height, measured.ground_classes) == (None, ())
    assert [claim.dataset for claim in job.claim] == ["ground cloud", "targets"]
    assert job.claim[0].keys == {"vertical_class_cm": 5.0}
    assert job.processing == {"software": "in-house, 3.1", "strips": [1, 2]}
    assert (job.report.number, job.report.signer) == ("26-014", None)
    assert (job.path, job.folder) == (site / "job.toml", site)


def test_files_are_found_from_the_folder_of_the_job(
    site: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Paths start at the job file, not where the program runs; they are kept as written, too."""
    (site / "elsewhere").mkdir()
    monkeypatch.chdir(site / "elsewhere")
    (site / "job.toml").write_text(GOOD, encoding="utf-8")
    job = load_job("../job.toml", no_check)
    assert job.checkpoints.located.written == "checkpoints/site.csv"
    assert job.checkpoints.located.path.samefile(site / "checkpoints" / "site.csv")
    assert [file.written for file in job.dataset[0].located] == ["cloud/a.laz", "cloud/b.laz"]
    assert all(file.path.is_absolute() and file.path.is_file() for file in job.dataset[0].located)


@pytest.mark.parametrize(
    ("files", "written"),
    [
        ('["cloud/b.laz", "cloud/*.laz"]', ["cloud/a.laz", "cloud/b.laz"]),
        ('["./cloud/b.laz", "cloud/../cloud/b.laz"]', ["cloud/b.laz"]),
        (r"['cloud\*.laz']", ["cloud/a.laz", "cloud/b.laz"]),
        ('["**/?.laz"]', ["cloud/a.laz", "cloud/b.laz"]),
        ('["plan [old].csv"]', ["plan [old].csv"]),
        ('["cloud/[ab].laz"]', ["cloud/a.laz", "cloud/b.laz"]),
    ],
)
def test_patterns(site: Path, files: str, written: list[str]) -> None:
    """A file matched twice counts once; files are sorted; both slashes separate; brackets may be meant."""
    job = load(site, changed('["cloud/*.laz"]', files))
    assert [file.written for file in job.dataset[0].located] == written


def test_absolute_paths(site: Path, tmp_path_factory: pytest.TempPathFactory) -> None:
    """An absolute path inside the folder is shown relative to it, one outside as it is."""
    outside = tmp_path_factory.mktemp("outside") / "x.laz"
    outside.touch()
    files = json.dumps([str(site / "cloud" / "a.laz"), outside.as_posix()])
    job = load(site, changed('["cloud/*.laz"]', files))
    assert {file.written for file in job.dataset[0].located} == {"cloud/a.laz", outside.as_posix()}


@pytest.mark.parametrize(
    ("folder", "text", "place", "shown"),
    [
        ("C:/jobs/site", "cloud/a.laz", r"C:\jobs\site\cloud\a.laz", "cloud/a.laz"),
        ("C:/jobs/site", r"cloud\a.laz", r"C:\jobs\site\cloud\a.laz", "cloud/a.laz"),
        ("C:/jobs/site", r"D:\flown\a.laz", r"D:\flown\a.laz", "D:/flown/a.laz"),
        ("C:/jobs/site", r"C:\jobs\SITE\a.laz", r"C:\jobs\SITE\a.laz", "a.laz"),
        ("C:/jobs", r"\\store\flown\a.laz", r"\\store\flown\a.laz", "//store/flown/a.laz"),
        ("//store/jobs", "cloud/a.laz", r"\\store\jobs\cloud\a.laz", "cloud/a.laz"),
        ("//store/jobs", r"\\store\jobs\a.laz", r"\\store\jobs\a.laz", "a.laz"),
    ],
)
def test_windows_paths(folder: str, text: str, place: str, shown: str) -> None:
    """Drive letters and network shares are understood where paths are Windows paths."""
    base = PureWindowsPath(folder)
    assert str(located(base, text)) == place
    assert as_written(base, text) == shown


def test_posix_paths() -> None:
    """Elsewhere a backslash separates, too, and going up is kept."""
    base = PurePosixPath("/jobs/site")
    assert str(located(base, r"cloud\a.laz")) == "/jobs/site/cloud/a.laz"
    assert as_written(base, "/jobs/site/cloud/a.laz") == "cloud/a.laz"
    assert as_written(base, "../cloud/./a.laz") == "../cloud/a.laz"


#: Change to the good job, place of the one problem it makes, what must be said.
BAD: list[tuple[str, str, str, tuple[str, ...]]] = [
    ("title =", "titel =", "job.titel", ("did you mean title", "keys here are: title, site")),
    ("title =", "titel =", "job.title", ("missing", "required")),
    ('"Heap survey"', '""', "job.title", ("must not be empty",)),
    ('"Heap survey"', "7", "job.title", ("found 7", "text in quotes")),
    ("2026-05-14", '"2026-05-14"', "job.flown", ("date without quotes",)),
    ("2026-05-14", "2026-05-14T10:00:00", "job.flown", ("without a time",)),
    (
        '"us-survey-foot"',
        '"us-foot"',
        "job.display_units",
        ('found "us-foot"', "metre, foot, us-survey-foot", "did you mean foot or us-survey-foot"),
    ),
    ('site = "F', 'crs = "F', "job.crs", ("belongs under [checkpoints] or [[dataset]]",)),
    ("epoch = 2010", "epoch = 20250101", "checkpoints.epoch", ("decimal year", "about 2025.000")),
    ("epoch = 2010", "epoch = 25", "checkpoints.epoch", ("in full, such as 2025.0",)),
    ("epoch = 2010", "epoch = 1979.9", "checkpoints.epoch", ("from 1980",)),
    ("epoch = 2010", 'epoch = "2010"', "checkpoints.epoch", ("must be a number",)),
    ("epoch = 2010", "epoch = nan", "checkpoints.epoch", ("found nan", "finite")),
    ('order = "penz"', 'order = "PNEX"', "checkpoints.order", ("'X'", "Z is missing")),
    ("h_m = 0.010", "h_m = -0.01", "checkpoints.survey_rmse_h_m", ("at least 0", "metres")),
    ("v_m = 0.015", "v_m = inf", "checkpoints.survey_rmse_v_m", ("found inf",)),
    ("v_m = 0.015", "v_m = true", "checkpoints.survey_rmse_v_m", ("found true", "a number")),
    ('["C1", "007"]', "[1]", "checkpoints.control[0]", ("text in quotes",)),
    ('["C1", "007"]', '"C1"', "checkpoints.control", ("list in brackets",)),
    ('["C1", "007"]', '["C1", "C1"]', "checkpoints.control[1]", ("twice",)),
    ('["C1", "007"]', '["CP07"]', "checkpoints.exclude[0].id", ("checkpoints.control[0]",)),
    ("reason =", "why =", "checkpoints.exclude[0].reason", ("missing",)),
    (
        '"disturbed before the flight"',
        '" "',
        "checkpoints.exclude[0].reason",
        ("must not be blank",),
    ),
    ('"disturbed before the flight"', r'"\u200b\n\t"', "checkpoints.exclude[0].reason", ("blank",)),
    ('id = "CP07"', 'id = "\u00a0"', "checkpoints.exclude[0].id", ("blank",)),
    ('title = "Heap survey"', 'title = "  "', "job.title", ("blank",)),
    ('["C1", "007"]', '["C1", " "]', "checkpoints.control[1]", ("blank",)),
    ("reason =", "why =", "checkpoints.exclude[0].why", ("keys here are: id, reason",)),
    (
        "[[checkpoints.exclude]]",
        "[checkpoints.exclude]",
        "checkpoints.exclude",
        ("write [[checkpoints.exclude]]",),
    ),
    (
        '"checkpoints/site.csv"',
        '"checkpoints/sight.csv"',
        "checkpoints.file",
        ("names no file", "did you mean site.csv"),
    ),
    ('"checkpoints/site.csv"', '"cloud/*.laz"', "checkpoints.file", ("2 files", "one file")),
    ('"point-cloud"', '"pointcloud"', "dataset[0].kind", ("did you mean point-cloud",)),
    ('["cloud/*.laz"]', '["cloud"]', "dataset[0].files[0]", ("is a folder", "cloud/*.laz")),
    ('["cloud/*.laz"]', '["nowhere/a.laz"]', "dataset[0].files[0]", ("no folder",)),
    ('["cloud/*.laz"]', '["*/x/*.laz"]', "dataset[0].files[0]", ("at least one file",)),
    ('["cloud/*.laz"]', r'["cloud\b.laz"]', "dataset[0].files[0]", ("control character",)),
    ('["cloud/*.laz"]', r'["\u0000"]', "dataset[0].files[0]", ("control character",)),
    ('["cloud/*.laz"]', "[]", "dataset[0].files", ("at least one entry",)),
    ('["cloud/*.laz"]', '"cloud/*.laz"', "dataset[0].files", ("list in brackets",)),
    ('["cloud/*.laz"]', "[7]", "dataset[0].files[0]", ("text in quotes",)),
    ("band = 2", "band = 0", "dataset[1].band", ("at least 1",)),
    ("band = 2", "band = 1.5", "dataset[1].band", ("whole number",)),
    ("band = 2", 'height = "tin"', "dataset[1].height", ("bilinear, nearest",)),
    ("band = 2", 'height = "cubic"', "dataset[1].height", ('found "cubic"',)),
    ("band = 2", "ground_classes = [2]", "dataset[1].ground_classes", ("only for point-cloud",)),
    ("band = 2", "crs = ''", "dataset[1].crs", ("must not be empty",)),
    ('name = "model"', 'name = "targets"', "dataset[2].name", ("dataset[1] has this name",)),
    ('dataset = "targets"', 'dataset = "target"', "claim[1].dataset", ("did you mean targets",)),
    ("horizontal_class_cm = 10", "x = [1]", "claim[1].x", ("must be a number, text",)),
    ("horizontal_class_cm = 10", "x = 2026-01-01", "claim[1].x", ("must be a number, text",)),
    ("horizontal_class_cm = 10", "x = nan", "claim[1].x", ("finite",)),
    ("strips = [1, 2]", "strips = [1, inf]", "processing.strips[1]", ("finite",)),
    ('number = "26-014"', "number = 26", "report.number", ("text in quotes",)),
    ("[report]", "[reprot]", "reprot", ("did you mean report", "keys here are: job,")),
    ("[report]", "[[report]]", "report", ("write [report]",)),
]


@pytest.mark.parametrize(("old", "new", "where", "parts"), BAD, ids=lambda v: str(v)[:30])
def test_bad_jobs(site: Path, old: str, new: str, where: str, parts: tuple[str, ...]) -> None:
    """Each mistake is told at the path of its key, with what was found and what is allowed."""
    found = problems(site, changed(old, new))
    assert where in found
    for part in parts:
        assert part in found[where]
    assert set(found) <= {w for o, n, w, _ in BAD if (o, n) == (old, new)} | {"claim[0].dataset"}


@pytest.mark.parametrize(
    ("line", "where", "part"),
    [
        ("ground_classes = []", "dataset[0].ground_classes", "at least one class"),
        ("ground_classes = [256]", "dataset[0].ground_classes[0]", "at most 255"),
        ("ground_classes = [true]", "dataset[0].ground_classes[0]", "whole number"),
        ("max_circumradius_m = 0", "dataset[0].max_circumradius_m", "greater than 0"),
        ("design_anps_m = -1.0", "dataset[0].design_anps_m", "greater than 0"),
        ("adjusted_to_points = 1", "dataset[0].adjusted_to_points", "true or false"),
        ('height = "bilinear"', "dataset[0].height", "tin, plane, neighbourhood-mean, nearest"),
        ('height = "kriging"', "dataset[0].height", "tin, plane, neighbourhood-mean, bilinear"),
        ('height = "plane"', "dataset[0].neighbourhood_across_m", "needs the size"),
        (
            'height = "plane"\nneighbourhood_across_spacings = 5',
            "dataset[0].design_anps_m",
            "multiples of this spacing",
        ),
        (
            'height = "plane"\ndesign_anps_m = 0.1\nneighbourhood_across_m = 1\n'
            "neighbourhood_across_spacings = 5",
            "dataset[0].neighbourhood_across_spacings",
            "one of the two",
        ),
        (
            'height = "plane"\nneighbourhood_across_m = 1\nneighbourhood_least_points = 3',
            "dataset[0].neighbourhood_least_points",
            "at least 4",
        ),
        (
            'height = "neighbourhood-mean"\nneighbourhood_across_m = 1\nneighbourhood_least_points = 2',
            "dataset[0].neighbourhood_least_points",
            "at least 3",
        ),
        (
            'height = "neighbourhood-mean"\nneighbourhood_across_m = inf',
            "dataset[0].neighbourhood_across_m",
            "finite",
        ),
        (
            'height = "neighbourhood-mean"\nneighbourhood_across_m = -1.0',
            "dataset[0].neighbourhood_across_m",
            "at least 0.01",
        ),
        (
            'height = "neighbourhood-mean"\nneighbourhood_across_m = 1e300',
            "dataset[0].neighbourhood_across_m",
            "at most 1000",
        ),
        (
            'height = "neighbourhood-mean"\nneighbourhood_across_m = 1e-9',
            "dataset[0].neighbourhood_across_m",
            "at least 0.01",
        ),
        (
            'height = "plane"\nneighbourhood_across_m = 1\nneighbourhood_shape = "ring"',
            "dataset[0].neighbourhood_shape",
            "circle",
        ),
        ("neighbourhood_across_m = 1", "dataset[0].neighbourhood_across_m", "only with height"),
        (
            'height = "nearest"\nneighbourhood_shape = "square"',
            "dataset[0].neighbourhood_shape",
            "only with height",
        ),
        ("band = 1", "dataset[0].band", "only for raster"),
        ("epoch = 99", "dataset[0].epoch", "write the year in full"),
        ('hight = "tin"', "dataset[0].hight", "did you mean height"),
    ],
)
def test_bad_keys_of_a_cloud(site: Path, line: str, where: str, part: str) -> None:
    """Keys of a dataset are checked, each alone and against its kind."""
    found = problems(site, changed('files = ["cloud/*.laz"]', f'files = ["cloud/*.laz"]\n{line}'))
    assert list(found) == [where]
    assert part in found[where]


def test_all_mistakes_at_once_in_the_order_of_the_document(site: Path) -> None:
    """Mistakes of different kinds and places come in one error; one does not hide another."""
    text = (
        "[job]\ntitel = 'x'\n"
        "[checkpoints]\nfile = 'cp.csv'\nepoch = 25\ncontrol = ['A']\nexclude = [{ id = 'A' }]\n"
        "[[dataset]]\nname = 'a'\nkind = 'point-clout'\nfiles = ['*.las', 3]\n"
        "[[dataset]]\nname = 'a'\nkind = 'raster'\nfiles = ['dem.tif']\nheight = 'tin'\n"
        "[[claim]]\ndataset = 'b'\nstandard = 's'\nlimit = nan\n"
        "[extra]\n"
    )
    asked: list[str] = []

    def check(standard: str, keys: Mapping[str, Any], where: str, folder: Path) -> list[Problem]:
        asked.append(standard)
        return [Problem(f"{where}.limit", "of the standard", "")]

    with pytest.raises(JobError) as caught:
        load(site, text, check)
    assert [problem.where for problem in caught.value.problems] == [
        "job.title",
        "job.titel",
        "checkpoints.epoch",
        "checkpoints.exclude[0].reason",
        "checkpoints.exclude[0].id",
        "checkpoints.file",
        "dataset[0].kind",
        "dataset[0].files[1]",
        "dataset[0].files[0]",
        "dataset[1].name",
        "dataset[1].height",
        "claim[0].limit",
        "claim[0].dataset",
        "claim[0].limit",
        "extra",
    ]
    assert asked == ["s"]
    assert "15 mistakes in the job" in str(caught.value)


@pytest.mark.parametrize(
    ("text", "where"),
    [
        ("", {"job", "checkpoints", "dataset"}),
        (
            "job = 1\ncheckpoints = []\ndataset = 2\nclaim = 3",
            {"job", "checkpoints", "dataset", "claim"},
        ),
        ("dataset = [1]\nclaim = [2]", {"job", "checkpoints", "dataset[0]", "claim[0]"}),
        ("[dataset]\n[claim]", {"job", "checkpoints", "dataset", "claim"}),
        ("[checkpoints.exclude]", {"job", "checkpoints.file", "checkpoints.exclude", "dataset"}),
        ("processing = 1\narea = 2", {"job", "checkpoints", "dataset", "processing", "area"}),
    ],
)
def test_jobs_of_the_wrong_shape(site: Path, text: str, where: set[str]) -> None:
    """Missing sections, and values where tables belong, are problems like others."""
    assert set(problems(site, text)) == where


def test_double_brackets_are_explained(site: Path) -> None:
    """A single table where several may stand is answered with how to write it."""
    found = problems(site, "[dataset]\nname = 'a'\n")
    assert "write [[dataset]]" in found["dataset"]


@pytest.mark.parametrize(
    ("data", "parts"),
    [
        (b"[job]\ntitle = \n", ("line 2, column 9", "invalid value")),
        (b"[job]\ntitle = 'a'\ntitle = 'b'\n", ("line 3", "overwrite")),
        (b'[job]\nfiles = ["C:\\Users\\x.laz"]\n', ("line 2", "single quotes")),
        (b"[job]\ntitle = 'H\xf6he'\n", ("line 2", "UTF-8")),
        (b"\xff\xfe[\0j\0", ("line 1", "UTF-8")),
        (b"[job\n", ("line 1",)),
    ],
)
def test_broken_toml(tmp_path: Path, data: bytes, parts: tuple[str, ...]) -> None:
    """Text that is not TOML is refused with line and, where known, column."""
    path = tmp_path / "job.toml"
    path.write_bytes(data)
    with pytest.raises(JobError) as caught:
        load_job(path, no_check)
    for part in ("job.toml", *parts):
        assert part in str(caught.value)


KEYS = st.one_of(
    st.sampled_from(["job", "checkpoints", "dataset", "claim", "exclude", "control", "report"]),
    st.sampled_from(["file", "files", "name", "kind", "id", "height", "standard", "a.b", ""]),
)
SCALARS = st.sampled_from(
    ["point-cloud", "raster", "a", "", "../*", 0, 2, -1.5, True, math.nan, date(2026, 5, 14)]
)
TREES = st.recursive(
    SCALARS, lambda inner: st.lists(inner, max_size=3) | st.dictionaries(KEYS, inner, max_size=4)
)


@given(data=st.dictionaries(KEYS, TREES, max_size=5))
def test_any_toml_gives_problems_with_places(
    tmp_path_factory: pytest.TempPathFactory, data: dict[str, Any]
) -> None:
    """Whatever is nested in whatever, the answer is a list of problems, each with a place and a text."""
    found = problems_of(data, tmp_path_factory.getbasetemp(), no_check)
    assert found  # nothing of this is a whole job
    assert all(problem.where and problem.found for problem in found)


def test_missing_jobs(tmp_path: Path) -> None:
    """No file, or a folder, is an error of the job."""
    with pytest.raises(JobError, match="no such file"):
        load_job(tmp_path / "none.toml", no_check)
    with pytest.raises(JobError, match="cannot be read"):
        load_job(tmp_path, no_check)


def test_windows_text_is_read(site: Path) -> None:
    """A byte-order mark and CRLF change nothing."""
    plain = load(site, GOOD).as_read()
    (site / "job.toml").write_bytes(GOOD.replace("\n", "\r\n").encode("utf-8-sig"))
    assert load_job(site / "job.toml", no_check).as_read() == plain


def test_claims_go_to_the_standards_file(site: Path) -> None:
    """The check gets standard, keys in the order written, place and folder; its problems are reported."""
    text = changed("horizontal_class_cm = 10", "b = 1\na = 'x'\nkeys = true")
    asked: list[tuple[str, list[tuple[str, Any]], str, Path]] = []

    def check(standard: str, keys: Mapping[str, Any], where: str, folder: Path) -> list[Problem]:
        asked.append((standard, list(keys.items()), where, folder))
        return [Problem(f"{where}.b", "found 1", "not a key")] if "b" in keys else []

    with pytest.raises(JobError, match=r"claim\[1\]\.b: found 1; not a key"):
        load(site, text, check)
    assert asked == [
        ("asprs-2024", [("vertical_class_cm", 5.0)], "claim[0]", site),
        ("asprs-2024", [("b", 1), ("a", "x"), ("keys", True)], "claim[1]", site),
    ]
    assert list(load(site, text).claim[1].keys.items()) == asked[1][1]


def test_by_default_the_packaged_standards_check(site: Path) -> None:
    """Without another check, the standard's own file decides on claim keys."""
    assert load(site, GOOD, None).claim[0].standard == "asprs-2024"
    with pytest.raises(JobError, match=r"claim\[1\]"):
        load(site, changed("horizontal_class_cm = 10", "horizontal_klass_cm = 10"), None)
    text = changed('"targets"\nstandard = "asprs-2024"', '"targets"\nstandard = "asprs-1824"')
    with pytest.raises(JobError, match=r"claim\[1\]\.standard"):
        load(site, text, None)


def test_folders_of_grids(site: Path) -> None:
    """One folder or a list, relative to the job file; files of models by name; none where it is silent."""
    (site / "grids").mkdir()
    job = load(site, GOOD + "[grids]\nfolder = 'grids'\ngeoid_files = {GEOID18 = 'mine.tif'}\n")
    assert job.grids.folders(job.folder) == (site / "grids",)
    assert job.grids.geoid_files == {"GEOID18": "mine.tif"}
    job = load(site, GOOD + "[grids]\nfolder = ['grids', '.']\n")
    assert job.grids.folders(job.folder) == (site / "grids", site)
    assert load(site, GOOD).grids.folders(site) == ()


@pytest.mark.parametrize(
    ("written", "where", "found"),
    [
        ("folder = 'grid'", "grids.folder", "there is no folder"),
        ("folder = ['.', 'grid']", "grids.folder[1]", "there is no folder"),
        ("folder = 5", "grids.folder", "found 5"),
        ("fodler = '.'", "grids.fodler", "unknown key"),
    ],
)
def test_mistakes_about_grids(site: Path, written: str, where: str, found: str) -> None:
    """A folder that is not there and a misspelt key are told with their place."""
    with pytest.raises(JobError) as caught:
        load(site, GOOD + f"[grids]\n{written}\n")
    (problem,) = caught.value.problems
    assert problem.where == where
    assert found in problem.found


def test_a_job_cannot_be_changed(site: Path) -> None:
    """A job is a record."""
    job = load(site, GOOD)
    with pytest.raises(ValidationError, match="frozen"):
        job.checkpoints.file = "other.csv"


def test_a_job_as_read_is_plain_and_fits_the_schema(site: Path) -> None:
    """The record in the result is JSON with paths as written, ISO dates, and the defaults that apply."""
    flight = "start = 2026-05-01T10:00:00\nend = 2026-05-01T11:00:00\ntime_system = 'GPS'\n"
    read = load(site, GOOD + "[base]\nmark = 'M1'\n[base.flight]\n" + flight).as_read()
    assert json.loads(json.dumps(read, allow_nan=False)) == read
    assert str(site) not in json.dumps(read)
    assert read["job"]["flown"] == "2026-05-14"
    assert read["checkpoints"]["file"] == "checkpoints/site.csv"
    assert read["dataset"][0]["files"] == ["cloud/*.laz"]
    assert read["dataset"][0]["height"] == "tin"
    assert read["claim"][0]["vertical_class_cm"] == 5.0
    assert read["base"]["flight"]["start"] == "2026-05-01T10:00:00"
    assert "site" in read["job"]
    assert "prepared_for" not in read["job"]
    jsonschema.validate(read, job_schema(), cls=jsonschema.Draft202012Validator)


def test_the_schema_helps_editors(site: Path) -> None:
    """The schema is valid, describes every key, and refuses what the reader refuses."""
    schema = job_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    assert schema["$schema"].endswith("2020-12/schema")
    tables = [schema, *schema["$defs"].values()]
    keys = {
        key: schema["$defs"][its["$ref"].rpartition("/")[2]] | its if "$ref" in its else its
        for table in tables
        for key, its in table.get("properties", {}).items()
    }
    assert {"title", "files", "survey_rmse_h_m", "dataset", "standard", "licence"} <= keys.keys()
    assert [key for key, its in keys.items() if not its.get("description")] == []
    validator = jsonschema.Draft202012Validator(schema)
    for section, key, value in [
        ("job", "titel", "x"),
        ("checkpoints", "epoch", 25),
        ("checkpoints", "order", "PNEX"),
        ("checkpoints", "survey_rmse_h_m", -1),
        ("report", "number", 5),
    ]:
        read = load(site, GOOD).as_read()
        read[section][key] = value
        assert not validator.is_valid(read), f"{section}.{key} = {value}"


def test_height_methods_fit_the_schema() -> None:
    """The methods of all kinds together are those the key height takes."""
    choices = job_schema()["$defs"]["Dataset"]["properties"]["height"]["anyOf"][0]["enum"]
    assert set(choices) == {method for methods in HEIGHT_METHODS.values() for method in methods}


@given(st.floats())
def test_epochs(year: float) -> None:
    """Exactly the years from 1980 to the end of this year pass; any other number is explained."""
    mistake = epoch_mistake(year)
    assert (mistake is None) == (1980 <= year <= date.today().year + 1)
    assert mistake is None or "decimal year" in mistake


@pytest.mark.parametrize(
    ("written", "part"), [(20250702, "about 2025.5"), (20261231, "about 2026.99"), (7, "2007.0")]
)
def test_dates_written_as_numbers_are_explained(written: float, part: str) -> None:
    """The decimal year of a date is offered; 2 July is the middle of a year of 365 days."""
    assert part in str(epoch_mistake(written))


@given(st.text("PNEZDpnezdX", max_size=7))
def test_orders(order: str) -> None:
    """An order passes exactly if it has P, N, E and Z once, D at most once, and nothing else."""
    letters = sorted(order.upper())
    assert (order_mistake(order) is None) == (letters in (sorted("PNEZ"), sorted("PNEZD")))


def test_a_reason_is_printed_without_blanks_around_it(site: Path) -> None:
    """Blanks around a reason mean nothing; ids keep what is written."""
    job = load(site, changed('"disturbed before the flight"', '"  disturbed \\n"'))
    assert job.checkpoints.exclude[0].reason == "disturbed"
