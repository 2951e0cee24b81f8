from __future__ import annotations

import csv
import hashlib
import json
from importlib import resources
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest
from jobs import (
    CRS,
    EAST,
    NORTH,
    plane_checkpoints,
    write_job,
    write_plane_cloud,
    write_points_table,
)
from support import assert_metres

from accuracy.errors import AccuracyError, JobError
from accuracy.formats.las_write import write_points
from accuracy.job import load_job
from accuracy.pipeline import verify
from accuracy.reports import render_kinds
from accuracy.result import Result, read_result, result_schema

#: Views that every result of these tests must have; page and PDF are slower and have tests of their own.
QUICK = ("json", "csv", "statement", "summary", "gpkg", "geojson")

SURVEY = {"survey_rmse_h_m": 0.01, "survey_rmse_v_m": 0.01}


def wkt_of(code: str) -> str:
    """WKT 1 of a compound code, by PROJ."""
    import pyproj

    return str(pyproj.CRS.from_user_input(code).to_wkt("WKT1_GDAL"))


def run(path: Path) -> Result:
    """Verify a job; every result is valid against the shipped schema and survives its own file."""
    result = verify(load_job(path))
    text = result.to_json()
    jsonschema.validate(json.loads(text), result_schema())
    copy = path.with_name("copy.json")
    copy.write_text(text, "utf-8")
    assert read_result(copy).to_json() == text
    assert len(render_kinds(result, QUICK)) == len(QUICK)
    return result


def codes(result: Result, severity: str | None = None) -> set[str]:
    return {f.code for f in result.findings if severity in (None, f.severity.value)}


def figure(result: Result, dataset: int, statistic: str, component: str, cover: str = "all") -> Any:
    (value,) = (
        f.value
        for f in result.datasets[dataset].figures
        if (f.statistic, f.component, f.cover, f.survey_error_included)
        == (statistic, component, cover, False)
    )
    return value


def plane_job(folder: Path, **changes: Any) -> Path:
    """Write a cloud of a tilted plane and 36 checkpoints with alternating errors of plus and minus 20 mm."""
    options: dict[str, Any] = {
        "file_crs": CRS,
        "lift_m": 0.0,
        "errors": (0.02, -0.02),
        "n": 36,
        "claim": {"standard": "asprs-2024", "vertical_class_cm": 5.0},
        "checkpoints": {},
        "dataset": {},
        "classification": 2,
    } | changes
    wkt = wkt_of(options["file_crs"]) if options["file_crs"] else None
    write_plane_cloud(
        folder / "a.laz",
        wkt=wkt,
        lift_m=options["lift_m"],
        classification=options["classification"],
    )
    write_points_table(
        folder / "points.csv", plane_checkpoints(options["n"], error_m=options["errors"])
    )
    return write_job(
        folder,
        checkpoints=SURVEY | options["checkpoints"],
        datasets=[
            {"name": "cloud", "kind": "point-cloud", "files": ["*.laz"]} | options["dataset"]
        ],
        claims=[{"dataset": "cloud"} | options["claim"]] if options["claim"] else [],
    )


def test_a_plane_gives_the_residuals_that_were_put_in(tmp_path: Path) -> None:
    """Closed form: errors of +-20 mm and a lift of 5 mm; RMSE² = 20² + 5², and the claim passes."""
    result = run(plane_job(tmp_path, lift_m=0.005))
    residuals = [row.residual.up_m for row in result.datasets[0].residuals if row.residual]
    assert_metres(residuals, np.resize([0.025, -0.015], 36), within_m=2e-7)
    assert_metres(figure(result, 0, "mean", "up"), 0.005, within_m=2e-7)
    assert_metres(figure(result, 0, "rmse", "up"), np.hypot(0.020, 0.005), within_m=2e-7)
    (claim,) = result.datasets[0].claims
    assert claim.verdict == "passes"
    # With the survey's 10 mm in quadrature (Edition 2, 7.11): sqrt(20² + 5² + 10²) mm.
    assert_metres(
        claim.checks[0].value or 0, np.sqrt(0.020**2 + 0.005**2 + 0.010**2), within_m=2e-7
    )
    assert (result.verdict, int(result.exit_code)) == ("passes", 0)


@pytest.mark.parametrize(
    ("changes", "verdict", "code"),
    [
        ({"lift_m": 0.07}, "fails", None),
        ({"n": 29}, "no-statement", "claim-too-few-points"),
        ({"file_crs": "EPSG:6342+5703"}, "no-statement", "transform-outside-area"),
        ({"file_crs": "EPSG:6341+5773"}, "no-statement", "transform-geoid-unnamed"),
        ({"file_crs": "EPSG:26912+5703"}, "no-statement", "transform-no-operation"),
        ({"file_crs": "EPSG:32612+5703"}, "no-statement", "transform-ensemble"),
        ({"file_crs": "EPSG:6341+6360"}, "fails", None),
        ({"file_crs": "EPSG:6341"}, "no-statement", "crs-vertical-unknown"),
        ({"file_crs": None}, "no-statement", "crs-unknown"),
        ({"dataset": {"crs": "EPSG:26912+5703"}}, "no-statement", "crs-contradiction"),
        ({"dataset": {"adjusted_to_points": True}}, "no-statement", "claim-adjusted-to-points"),
        ({"classification": 1}, "no-statement", "sampling-no-height"),
        ({"claim": {"standard": "nssda-1998"}}, "reported", None),
        ({"claim": None}, "none", None),
        (
            {"claim": {"standard": "asprs-2024", "horizontal_class_cm": 5.0}},
            "no-statement",
            "claim-no-residuals",
        ),
    ],
)
def test_the_table_of_verdicts(
    tmp_path: Path, changes: dict[str, Any], verdict: str, code: str | None
) -> None:
    """Each situation of the design's table leads to its verdict, and a finding says why."""
    result = run(plane_job(tmp_path, **changes))
    assert result.verdict == verdict
    assert int(result.exit_code) == {"fails": 1, "no-statement": 3}.get(verdict, 0)
    if code:
        assert code in codes(result)
    for claim in result.datasets[0].claims:
        assert "tested to meet" not in claim.statement or verdict == "passes"
        assert (claim.reason is not None) == (verdict == "no-statement")


def test_a_crs_supplied_by_the_job_is_used_and_said(tmp_path: Path) -> None:
    """A file that declares nothing, or only a plane, is completed by the job; the result says so."""
    for file_crs in (None, "EPSG:6341"):
        result = run(plane_job(tmp_path, file_crs=file_crs, dataset={"crs": CRS}))
        assert result.verdict == "passes"
        assert "crs-supplied-by-job" in codes(result)


def test_an_unknown_survey_accuracy_allows_no_statement_in_edition_2(tmp_path: Path) -> None:
    """Edition 2 includes the survey's error: unknown means no statement, not zero."""
    path = plane_job(tmp_path)
    path.write_text(
        "\n".join(
            line for line in path.read_text().splitlines() if not line.startswith("survey_rmse")
        )
    )
    result = run(path)
    assert result.verdict == "no-statement"
    assert "claim-survey-accuracy" in codes(result)


def test_control_and_excluded_points_are_carried_to_the_end_but_not_judged(tmp_path: Path) -> None:
    """A control point and an excluded blunder change no figure, and both are listed with their residual."""
    plain = run(plane_job(tmp_path, n=40))
    path = plane_job(tmp_path, n=40, checkpoints={"control": ["P01"]})
    text = path.read_text().replace(
        "[[dataset]]", '[[checkpoints.exclude]]\nid = "P02"\nreason = "ploughed"\n\n[[dataset]]', 1
    )
    path.write_text(text)
    result = run(path)
    assert (result.layout.checkpoints, result.layout.control, result.layout.excluded) == (38, 1, 1)
    rows = {row.id: row for row in result.datasets[0].residuals}
    assert (rows["P01"].role, rows["P01"].used) == ("control", False)
    assert (rows["P02"].role, rows["P02"].used, rows["P02"].detail) == (
        "excluded",
        False,
        "ploughed",
    )
    before = {row.id: row.residual for row in plain.datasets[0].residuals}
    assert rows["P02"].residual == before["P02"]
    assert (
        next(f.n for f in result.datasets[0].figures if f.component == "up" and f.cover == "all")
        == 38
    )
    assert result.control == ("P01",)
    assert [(out.id, out.reason) for out in result.excluded] == [("P02", "ploughed")]


def test_a_checkpoint_outside_is_listed_with_its_reason_and_does_not_count(tmp_path: Path) -> None:
    """One point beyond the cloud: no height, named in a finding, n is one less."""
    path = plane_job(tmp_path)
    rows = [*plane_checkpoints(36), ["FAR", EAST + 500, NORTH + 500, 100.0, "non-vegetated"]]
    write_points_table(tmp_path / "points.csv", rows)
    result = run(path)
    far = next(row for row in result.datasets[0].residuals if row.id == "FAR")
    assert (far.used, far.reason, far.residual) == (False, "outside", None)
    (finding,) = (f for f in result.findings if f.code == "sampling-no-height")
    assert "FAR" in finding.message


def test_the_same_inputs_give_the_same_bytes_outside_run(tmp_path: Path) -> None:
    """Twice, and from another folder: identical but for the block of clock and paths."""
    first, second = tmp_path / "one", tmp_path / "two"
    texts = []
    for folder in (first, second, second):
        folder.mkdir(exist_ok=True)
        data = json.loads(run(plane_job(folder)).to_json())
        data.pop("run")
        texts.append(json.dumps(data))
    assert texts[0] == texts[1] == texts[2]


def test_ids_of_control_that_are_not_in_the_table_are_refused(tmp_path: Path) -> None:
    """A misspelt control id would silently turn control into a checkpoint: refused, all at once."""
    path = plane_job(tmp_path, checkpoints={"control": ["P1", "p02"]})
    with pytest.raises(AccuracyError) as caught:
        verify(load_job(path))
    assert {p.where for p in caught.value.problems} == {
        "checkpoints.control[0]",
        "checkpoints.control[1]",
    }


@pytest.mark.parametrize("unit", ["metre", "foot", "us-survey-foot"])
def test_display_units_change_print_only(tmp_path: Path, unit: str) -> None:
    """The record stays in metres whatever is printed; a foot is always named in full."""
    path = plane_job(tmp_path, lift_m=0.03048)
    result_m = run(path)
    path.write_text(path.read_text().replace("[job]\n", f'[job]\ndisplay_units = "{unit}"\n'))
    result = run(path)
    assert result.datasets[0].figures == result_m.datasets[0].figures
    summary = render_kinds(result, ["summary"])["summary.txt"].decode()
    word = {"metre": "metres", "foot": "international feet", "us-survey-foot": "US survey feet"}[
        unit
    ]
    assert f"Figures in {word}" in summary
    shown = {"metre": "+0.030", "foot": "+0.100", "us-survey-foot": "+0.100"}[unit]
    assert shown in summary


def test_a_spreadsheet_never_runs_a_cell(tmp_path: Path) -> None:
    """Ids and descriptions that start like formulas are written as text."""
    path = plane_job(tmp_path)
    header = "id,easting,northing,height,cover,description"
    rows = [[*row, "'=1+1"] for row in plane_checkpoints(36)]
    for row, bad in zip(rows, ("=cmd", "+1", "-2", "@x"), strict=False):
        row[0], row[5] = bad, "=HYPERLINK(1)"
    write_points_table(tmp_path / "points.csv", rows, header)
    text = render_kinds(run(path), ["csv"])["residuals.csv"].decode("utf-8-sig")
    for record in csv.reader(text.splitlines()):
        for cell in record:
            if cell.startswith(("=", "+", "@", "\t")):
                pytest.fail(f"cell {cell!r} starts like a formula")
            if cell.startswith("-"):
                float(cell)  # a negative number is no formula


@pytest.mark.shared_data
def test_published_differences_of_the_strasbourg_block(shared_data: Path, tmp_path: Path) -> None:
    """Published 3D RMS of 14 points 0.035 m and of 2 points 0.421 m (adjustment report of the data set)."""
    source = shared_data / "checkpoints-sxb" / "sxb_residuals.csv"
    local = (
        'COMPD_CS["block",LOCAL_CS["block",LOCAL_DATUM["block",0],UNIT["metre",1],'
        'AXIS["E",EAST],AXIS["N",NORTH]],VERT_CS["block height",VERT_DATUM["block",2005],'
        'UNIT["metre",1],AXIS["Up",UP]]]'
    )
    with source.open(encoding="utf-8") as stream:
        table = list(csv.DictReader(stream))
    for role, n, published_3d, largest_3d in (
        ("control", 14, 0.035, 0.073),
        ("check", 2, 0.421, 0.488),
    ):
        rows = [row for row in table if row["role"] == role]
        assert len(rows) == n
        for name, kind in (("points", "survey"), ("measured", "measured")):
            write_points_table(
                tmp_path / f"{name}.csv",
                [[row["id"], *(row[f"{kind}_{axis}"] for axis in "xyz")] for row in rows],
                "id,x,y,z",
            )
        path = write_job(
            tmp_path,
            checkpoints={"crs": local, "survey_rmse_h_m": 0.028, "survey_rmse_v_m": 0.04},
            datasets=[
                {
                    "name": "block",
                    "kind": "measured-points",
                    "files": ["measured.csv"],
                    "crs": local,
                }
            ],
            claims=[{"dataset": "block", "standard": "nssda-1998"}],
        )
        result = run(path)
        assert_metres(figure(result, 0, "rmse", "3d"), published_3d, within_m=0.0005)
        # The report rounds its maximum from unrounded coordinates; ours come from three rounded ones.
        assert_metres(figure(result, 0, "max", "3d"), largest_3d, within_m=0.0005 * (1 + 3**0.5))
        for row, published in zip(result.datasets[0].residuals, rows, strict=True):
            assert row.residual is not None
            found = (row.residual.east_m, row.residual.north_m, row.residual.up_m)
            expected = [float(published[f"published_d{axis}"]) for axis in "xyz"]
            assert_metres(found, expected, within_m=1e-9)
        assert result.verdict == "no-statement"  # 14 and 2 points: the document wants 20


def test_measured_positions_give_a_horizontal_statement_without_heights(tmp_path: Path) -> None:
    """Closed form: 30 points, east errors +-30 mm, north +-40 mm: RMSE_H = 50 mm, with a 10 mm survey."""
    points = plane_checkpoints(30)
    write_points_table(tmp_path / "points.csv", points)
    measured = [
        [
            row[0],
            f"{float(str(row[1])) + 0.03 * sign:.3f}",
            f"{float(str(row[2])) - 0.04 * sign:.3f}",
        ]
        for row, sign in zip(points, np.resize([1, -1], 30), strict=True)
    ]
    write_points_table(tmp_path / "m.csv", [*measured, ["X9", EAST, NORTH]], "id,easting,northing")
    path = write_job(
        tmp_path,
        checkpoints=SURVEY,
        datasets=[
            {"name": "ortho", "kind": "measured-points", "files": ["m.csv"], "crs": "EPSG:6341"}
        ],
        claims=[
            {"dataset": "ortho", "standard": "asprs-2024", "horizontal_class_cm": limit}
            for limit in (5.0, 5.2)
        ],
    )
    result = run(path)
    assert_metres(figure(result, 0, "rmse", "horizontal"), 0.05, within_m=1e-9)
    strict, loose = result.datasets[0].claims
    assert (strict.verdict, loose.verdict) == ("fails", "passes")
    assert_metres(strict.checks[0].value or 0, np.hypot(0.05, 0.01), within_m=1e-9)
    assert "measured-not-matched" in codes(result)


@pytest.mark.parametrize("suffix", ["las", "laz"])
@pytest.mark.parametrize("point_format", range(11))
def test_the_plane_in_every_point_format(tmp_path: Path, point_format: int, suffix: str) -> None:
    """Closed form in point formats 0 to 10, LAS and LAZ: residuals exact to the stored 0.1 mm."""
    random = np.random.default_rng(4)
    x = EAST + random.integers(0, 2000, 3000) * 0.02
    y = NORTH + random.integers(0, 2000, 3000) * 0.02
    from jobs import plane_height

    z = plane_height(x, y)
    write_points(
        tmp_path / f"a.{suffix}",
        points={"x": x, "y": y, "z": z, "classification": np.full(3000, 2, np.uint8)},
        point_format=point_format,
        version="1.4" if point_format > 5 else "1.3" if point_format > 3 else "1.2",
        scale=(0.0001, 0.0001, 0.0001),
        offset=(EAST, NORTH, 0.0),
        compress=suffix == "laz",
    )
    write_points_table(tmp_path / "points.csv", plane_checkpoints(36))
    path = write_job(
        tmp_path,
        checkpoints=SURVEY,
        datasets=[{"name": "c", "kind": "point-cloud", "files": [f"a.{suffix}"], "crs": CRS}],
        claims=[{"dataset": "c", "standard": "nssda-1998", "vertical_95_m": 0.001}],
    )
    result = run(path)
    assert result.verdict == "passes"
    residuals = [row.residual.up_m for row in result.datasets[0].residuals if row.residual]
    assert len(residuals) == 36
    assert_metres(residuals, np.zeros(36), within_m=1e-4)


def statement(result: Result) -> str:
    """Give statement.txt with its lines unwrapped into one."""
    return " ".join(render_kinds(result, ["statement"])["statement.txt"].decode("utf-8").split())


OWN = """
id = "larkfield"
title = "Larkfield specification"
document = "LQ-17"
date = "2026"
class_required = false
[[requirement]]
id = "rmse_up"
name = "RMSE"
component = "up"
cover = "all"
estimator = "rmse"
survey_error = "excluded"
limit = { value = 0.05, unit = "m" }
operator = "<="
cite = "4"
verification = "client"
"""


def test_a_clients_specification_is_named_with_file_and_hash(tmp_path: Path) -> None:
    """In the record and in the statement; its file stands in the list of hashes."""
    folder = tmp_path / "specs"
    folder.mkdir()
    (folder / "own.toml").write_text(OWN, "utf-8")
    result = run(plane_job(tmp_path, claim={"standard": "specs/own.toml"}))
    digest = hashlib.sha256(OWN.encode("utf-8")).hexdigest()
    label = f'client\'s own specification "larkfield", file specs/own.toml, SHA-256 {digest}'
    (claim,) = result.datasets[0].claims
    assert (claim.verdict, claim.standard) == ("passes", label)
    text = statement(result)
    assert f"Judged by the {label}; it is no published standard." in text
    assert f"{digest} specs/own.toml" in text
    (entry,) = (item for item in result.inputs if item.role == "standard")
    assert (entry.path, entry.sha256) == ("specs/own.toml", digest)


def test_a_changed_copy_of_a_published_standard_is_refused(tmp_path: Path) -> None:
    """asprs-2024.toml with one checkpoint for a minimum never comes to a statement."""
    path = plane_job(tmp_path, n=3, claim={"standard": "asprs.toml", "vertical_class_cm": 5.0})
    packaged = resources.files("accuracy.standards").joinpath("asprs-2024.toml").read_text("utf-8")
    (tmp_path / "asprs.toml").write_text(packaged.replace("minimum = 30", "minimum = 1"), "utf-8")
    with pytest.raises(AccuracyError, match="is a packaged standard"):
        load_job(path)


@pytest.mark.parametrize(
    ("places", "verdict"), [(1, "no-statement"), (29, "no-statement"), (30, "passes")]
)
def test_many_ids_at_few_places(tmp_path: Path, places: int, verdict: str) -> None:
    """Sixty ids at one place are one test; the statement names them all and counts the places."""
    path = plane_job(tmp_path)
    points = plane_checkpoints(places, error_m=(0.02, -0.02))
    rows = [[f"R{i:02d}", *points[i % places][1:]] for i in range(60)]
    write_points_table(tmp_path / "points.csv", rows)
    result = run(path)
    assert result.verdict == verdict
    assert (result.layout.checkpoints, result.layout.places) == (60, places)
    text = statement(result)
    assert "have the same easting and northing" in text
    for i in range(60):
        assert f"R{i:02d} (line {i + 2})" in text
    if verdict == "no-statement":
        noun = "place" if places == 1 else "places"
        assert f"60 non-vegetated checkpoints at {places} {noun}, at least 30 wanted" in text
        assert f"using ONLY {places} checkpoints" in text


def measured_job(folder: Path, content: bytes, name: str = "m.csv") -> Path:
    """Write a table of 30 surveyed points, and some bytes handed in as measured positions."""
    write_points_table(folder / "points.csv", plane_checkpoints(30))
    (folder / name).write_bytes(content)
    return write_job(
        folder,
        checkpoints=SURVEY,
        datasets=[{"name": "t", "kind": "measured-points", "files": [name], "crs": CRS}],
        claims=[{"dataset": "t", "standard": "asprs-2024", "horizontal_class_cm": 5.0}],
    )


def test_the_survey_cannot_be_tested_with_itself(tmp_path: Path) -> None:
    """The checkpoint table, or a copy of it, as the deliverable: blocked, although every residual is 0."""
    write_points_table(tmp_path / "points.csv", plane_checkpoints(30))
    table = (tmp_path / "points.csv").read_bytes()
    for path in (measured_job(tmp_path, table), measured_job(tmp_path, table, "points.csv")):
        result = run(path)
        assert result.verdict == "no-statement"
        assert "file-is-checkpoint-table" in codes(result, "blocking")
        assert "byte for byte" in (result.datasets[0].claims[0].reason or "")


def test_a_rewritten_copy_of_the_survey_is_told_in_the_statement(tmp_path: Path) -> None:
    """Other bytes with the same coordinates: a warning that stands in the statement."""
    rows = [",".join(map(str, row[:3])) for row in plane_checkpoints(30)]
    copied = "\n".join(["id,easting,northing", *rows, ""]).encode("utf-8")
    result = run(measured_job(tmp_path, copied))
    assert "file-is-checkpoint-table" not in codes(result)
    assert "measured-no-differences" in codes(result, "warning")
    assert "Remark: t: all 30 horizontal differences are exactly zero" in statement(result)


def test_the_statement_names_who_does_not_count(tmp_path: Path) -> None:
    """Control, exclusions with their reasons, points without a value, and the number that counts."""
    path = plane_job(tmp_path, checkpoints={"control": ["P01", "P02"]})
    rows = [*plane_checkpoints(36, error_m=(0.02, -0.02)), ["FAR", EAST + 500, NORTH, 1, "nva"]]
    write_points_table(tmp_path / "points.csv", rows)
    text = path.read_text().replace(
        "[[dataset]]",
        '[[checkpoints.exclude]]\nid = "P03"\nreason = " ploughed "\n\n[[dataset]]',
        1,
    )
    path.write_text(text)
    words = statement(run(path))
    assert (
        "Surveyed 37; control 2 (P01; P02); excluded 1 (P03: ploughed); without a value for the vertical "
        "accuracy 1 (FAR). Checkpoints used for the vertical accuracy: 33 (33 non-vegetated, 0 vegetated)."
    ) in words


def test_a_survey_without_error_stands_in_the_statement(tmp_path: Path) -> None:
    """An RMSE of exactly 0 in the job is taken as stated, and said."""
    result = run(plane_job(tmp_path, checkpoints={"survey_rmse_v_m": 0.0}))
    assert result.verdict == "passes"
    assert "checkpoints-survey-zero" in codes(result, "warning")
    assert "stated as exactly 0 at 36 of 36 checkpoints" in statement(result)


@pytest.mark.parametrize(
    ("method", "verdict"),
    [
        ("real-time-network-gnss", "passes"),
        ("rtk-single-base", "no-statement"),
        (None, "no-statement"),
    ],
)
def test_the_survey_method_of_the_job_reaches_the_judge(
    tmp_path: Path, method: str | None, verdict: str
) -> None:
    """Where the survey's accuracy is unknown, the document's value for the method named stands in."""
    path = plane_job(tmp_path)
    kept = [line for line in path.read_text().splitlines() if not line.startswith("survey_rmse")]
    named = [f'survey_method = "{method}"'] if method else []
    at = kept.index("[checkpoints]") + 1
    path.write_text("\n".join([*kept[:at], *named, *kept[at:]]))
    result = run(path)
    assert result.verdict == verdict
    assert ("the method named in the job" in statement(result)) == (method is not None)
    if method == "real-time-network-gnss":
        value = result.datasets[0].claims[0].checks[0].value or 0.0
        assert_metres(value, np.hypot(0.020, 0.016), within_m=2e-7)


def test_all_wrong_reference_systems_at_once(tmp_path: Path) -> None:
    """Each at its key, before any table is read; right ones are not mentioned."""
    path = plane_job(tmp_path, checkpoints={"crs": "EPSG:99999"}, dataset={"crs": "UTM 12"})
    text = path.read_text() + (
        '\n[[dataset]]\nname = "second"\nkind = "point-cloud"\nfiles = ["a.laz"]\ncrs = "local"\n'
        '[local_grid]\ncrs = "EPSG:6341+"\nlocal_unit = "metre"\ndirection = "grid-to-local"\nscale = 1.0\n'
        "rotation_clockwise_deg = 0.0\ntranslation_east_m = 0.0\ntranslation_north_m = 0.0\n"
    )
    path.write_text(text)
    (tmp_path / "points.csv").write_bytes(b"\0")
    with pytest.raises(JobError) as caught:
        verify(load_job(path))
    told = {problem.where: problem for problem in caught.value.problems}
    assert list(told) == ["checkpoints.crs", "dataset[0].crs", "[local_grid].crs"]
    assert "99999" in str(told["checkpoints.crs"])
    assert all(problem.allowed for problem in told.values())
