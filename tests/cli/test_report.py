"""The command ``accuracy report``: any view from the record alone."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from drawn_result import make_result, make_rows, with_relief
from jobs import CRS, plane_checkpoints, write_job, write_plane_cloud, write_points_table

from accuracy.cli import run
from accuracy.cli.report import asked_kinds
from accuracy.errors import ExitCode, UsageError
from accuracy.reports import EXPORTS, REPORT, kinds, render_all, render_kinds
from accuracy.reports.folder import MARK
from accuracy.result import Result, read_result

TEXTS = ("json", "csv", "statement", "summary", "gpkg", "geojson")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Make a result folder with the record alone in it."""
    folder = tmp_path / "job.accuracy"
    folder.mkdir()
    (folder / MARK).write_text(make_result(make_rows(12)).to_json(), "utf-8")
    return folder


@pytest.mark.usefixtures("few_plots")
def test_the_same_view_as_from_the_result_itself(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Made again from result.json and its picture, every file of a verification is the same to the byte."""
    result = with_relief(make_result(make_rows(12)))
    for name, content in render_kinds(result, ["json"]).items():
        (tmp_path / name).write_bytes(content)
    out = tmp_path / "out"
    wanted = [export.kind for export in EXPORTS.values() if export.by_default]
    assert (
        run(["report", "-q", str(tmp_path / MARK), "--as", ",".join(wanted), "-o", str(out)]) == 0
    )
    assert capsys.readouterr().out == ""
    files = render_all(result)
    assert "relief-1.png" in files
    assert {path.name for path in out.iterdir()} == set(files)
    for name, content in files.items():
        assert (out / name).read_bytes() == content, name


def test_the_verdict_is_not_the_exit_code(demo_result: Result, tmp_path: Path) -> None:
    """The demo fails; making its views again does not."""
    (tmp_path / MARK).write_text(demo_result.to_json(), "utf-8")
    assert demo_result.exit_code == ExitCode.FAILS
    assert run(["report", "-q", str(tmp_path), "--as", "csv"]) == ExitCode.PASSES


def test_a_folder_stands_for_its_result(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Views go beside the record unless told otherwise, and are listed."""
    assert run(["report", "-q", str(folder), "--as", "statement, GEOJSON"]) == 0
    assert {p.name for p in folder.iterdir()} == {MARK, "statement.txt", "residuals.geojson"}
    assert run(["report", str(folder), "--as", "csv"]) == 0
    assert capsys.readouterr().out == f"{folder / 'residuals.csv'}\n"


@pytest.mark.usefixtures("few_plots")
def test_html_and_pdf_unless_told_otherwise(folder: Path, tmp_path: Path) -> None:
    """What a client gets."""
    out = tmp_path / "new" / "handover"
    assert run(["report", "-q", str(folder), "-o", str(out)]) == 0
    assert {p.name for p in out.iterdir()} == {"report.html", "report.pdf"}
    assert REPORT == ("html", "pdf")


@pytest.mark.usefixtures("few_plots")
def test_plots_come_as_a_folder(folder: Path, tmp_path: Path) -> None:
    """SVG and PNG of each; no such folder unless asked for."""
    assert run(["report", "-q", str(folder), "--as", "plots", "-o", str(tmp_path)]) == 0
    names = {path.name for path in (tmp_path / "plots").iterdir()}
    assert "01-north-slope-site-plan.svg" in names
    assert {name.replace(".svg", ".png") for name in names} == {
        n for n in names if n.endswith("png")
    }
    assert len(names) == 6
    assert not any(export.by_default for name, export in EXPORTS.items() if name.endswith("/"))


def test_files_of_the_same_name_are_replaced_and_others_left(folder: Path) -> None:
    """Nothing but the views asked for is touched, and nothing is left half-written."""
    (folder / "statement.txt").write_text("old", "utf-8")
    (folder / "notes.txt").write_text("mine", "utf-8")
    record = (folder / MARK).read_bytes()
    assert run(["report", "-q", str(folder), "--as", "json,statement"]) == 0
    assert (folder / MARK).read_bytes() == record
    assert (folder / "notes.txt").read_text("utf-8") == "mine"
    assert "STATEMENT" in (folder / "statement.txt").read_text("utf-8")
    assert {p.name for p in folder.iterdir()} == {MARK, "statement.txt", "notes.txt"}


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["report"], "no result given"),
        (["report", "{folder}", "--as", "html,docx"], "'docx'"),
        (["report", "{folder}", "--as", " , "], "no view is asked for"),
        (["report", "{folder}/nowhere.json"], "cannot be read"),
        (["report", "{folder}/notes.txt"], "is not JSON"),
        (["report", "{folder}", "--as", "csv", "-o", "{folder}/notes.txt"], "cannot be written"),
    ],
)
def test_what_cannot_be_done_is_one_error(
    folder: Path, arguments: list[str], says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """What is wrong, what to do, exit code 2, nothing written."""
    (folder / "notes.txt").write_text("mine", "utf-8")
    before = {p.name for p in folder.iterdir()}
    assert run([a.format(folder=folder) for a in arguments]) == ExitCode.COULD_NOT_RUN
    told = capsys.readouterr().err
    assert says in told
    assert "remedy:" in told
    assert "Traceback" not in told
    assert {p.name for p in folder.iterdir()} == before


@pytest.mark.parametrize(
    "name", ["../secret.png", "secret.png", "/etc/hostname", "relief-0.png", "relief-1.png.exe", ""]
)
def test_a_record_makes_no_other_file_be_read(tmp_path: Path, name: str) -> None:
    """A record that names a file of another kind, even with its right hash, gets no picture."""
    (tmp_path / "site").mkdir()
    content = with_relief(make_result(make_rows(4))).side_files["relief-1.png"]
    for path in (tmp_path / "secret.png", tmp_path / "site" / "secret.png"):
        path.write_bytes(content)
    record = json.loads(with_relief(make_result(make_rows(4))).to_json())
    record["series"]["north slope"]["plan"]["relief"]["file"] = name
    (tmp_path / "site" / MARK).write_text(json.dumps(record), "utf-8")
    assert read_result(tmp_path / "site" / MARK).side_files == {}


def test_a_picture_that_is_not_that_of_the_record_is_not_handed_on(tmp_path: Path) -> None:
    """A changed side file does not go into another folder under the record's name."""
    result = with_relief(make_result(make_rows(4)))
    (tmp_path / MARK).write_text(result.to_json(), "utf-8")
    (tmp_path / "relief-1.png").write_bytes(b"changed")
    assert set(render_kinds(read_result(tmp_path / MARK), ["json"])) == {MARK}


@pytest.mark.parametrize("series", [{"north slope": 3}, {"north slope": {"plan": []}}])
def test_odd_series_do_not_stop_reading(tmp_path: Path, series: object) -> None:
    """What is no record of a picture is none."""
    record = json.loads(make_result(make_rows(4)).to_json())
    (tmp_path / MARK).write_text(json.dumps({**record, "series": series}), "utf-8")
    assert read_result(tmp_path / MARK).side_files == {}


@pytest.mark.usefixtures("few_plots")
def test_two_runs_leave_the_same_files(tmp_path: Path) -> None:
    """Whenever, from wherever and by however many, all files but the record's `run` are the same bytes."""
    write_plane_cloud(tmp_path / "cloud.laz", wkt=None)
    write_points_table(tmp_path / "points.csv", plane_checkpoints())
    dataset = {"name": "ground", "kind": "point-cloud", "files": ["cloud.laz"], "crs": CRS}
    job = write_job(tmp_path, datasets=[dataset])
    contents = []
    for name in ("first", "second"):  # the second finds the hashes of the first
        out = tmp_path / name
        more = ["--index", str(tmp_path / "index"), "--reuse-hashes"]
        assert run(["verify", "-q", str(job), "-o", str(out), *more]) == 0
        files = {
            path.relative_to(out).as_posix(): path.read_bytes()
            for path in out.rglob("*")
            if path.is_file()
        }
        record = json.loads(files.pop(MARK))
        contents.append((files, record.pop("run"), record))
    (first, first_run, record), (second, second_run, again) = contents
    assert first == second
    assert {"report.html", "report.pdf", "residuals.gpkg"} <= set(first)
    assert record == again
    assert first_run["notes"] != second_run["notes"]


def test_a_damaged_record_is_told_before_anything_is_written(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The place of the damage is named."""
    record = json.loads((folder / MARK).read_text("utf-8"))
    record["datasets"][0]["residuals"][0]["used"] = "perhaps"
    (folder / MARK).write_text(json.dumps(record), "utf-8")
    out = tmp_path / "out"
    assert run(["report", "-q", str(folder), "-o", str(out)]) == ExitCode.COULD_NOT_RUN
    assert "datasets.0.residuals.0.used" in capsys.readouterr().err
    assert not out.exists()


def test_kinds_are_read_from_one_table() -> None:
    """The words are those of the table, in its order; ``all`` is every one; each word asks for one view."""
    assert asked_kinds("all") == kinds() == tuple(export.kind for export in EXPORTS.values())
    assert len(set(kinds())) == len(kinds())
    assert asked_kinds("pdf,html,pdf") == ("html", "pdf")
    with pytest.raises(UsageError, match="docx"):
        asked_kinds("html,docx")


def test_help_lists_every_view(capsys: pytest.CaptureFixture[str]) -> None:
    """The help is made of the table."""
    assert run(["report", "--help"]) == 0
    text = capsys.readouterr().out
    for name, export in EXPORTS.items():
        assert f"{export.kind:<11}{name}" in text


def test_a_record_read_back_renders_as_the_result_did(folder: Path) -> None:
    """Nothing that a view needs is lost on the way through the file."""
    result = make_result(make_rows(12))
    assert render_kinds(read_result(folder / MARK), TEXTS) == render_kinds(result, TEXTS)


def test_the_readme_lists_every_view() -> None:
    """The table of the README has each word and each file of the table in the code."""
    readme = (Path(__file__).resolve().parents[2] / "README.md").read_text("utf-8")
    table = readme.partition("\n## Reports\n")[2].partition("\n## ")[0]
    for name, export in EXPORTS.items():
        assert f"`{export.kind}`" in table
        assert name in table
