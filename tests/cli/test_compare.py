"""``accuracy compare``, ``accuracy history`` and ``accuracy verify --record``: output, files, exit codes."""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Iterator
from pathlib import Path
from xml.etree import ElementTree

import compare_site
import jsonschema
import pytest

from accuracy.cli import run
from accuracy.comparison_record import comparison_schema
from accuracy.errors import ExitCode

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("compare")
    compare_site.site(folder)
    return folder


@pytest.fixture
def at_site(site: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    monkeypatch.chdir(site)
    return site


@pytest.mark.parametrize(
    ("name", "code"),
    [("better", ExitCode.PASSES), ("worse", ExitCode.FAILS), ("undecided", ExitCode.PASSES)],
)
def test_the_readme_shows_real_output(
    at_site: Path, capsys: pytest.CaptureFixture[str], name: str, code: ExitCode
) -> None:
    """Every line shown in the README is printed, in that order; ``...`` stands for lines left out."""
    assert run(["compare", "-q", "before.accuracy", f"{name}.accuracy", "-o", "out.txt"]) == code
    assert run(["compare", "before.accuracy", f"{name}.accuracy"]) == code
    text = capsys.readouterr().out
    assert (at_site / "out.txt").read_text("utf-8") == text
    printed = iter(text.splitlines())
    found = re.search(
        rf"<!-- from accuracy compare {name}, compared by a test -->\n```\n(.*?)```",
        (ROOT / "README.md").read_text("utf-8"),
        re.S,
    )
    assert found is not None
    shown = found[1].splitlines()
    assert len(shown) > 5
    for line in shown:
        if line.strip() != "...":
            assert any(line == other for other in printed), line


def test_the_table_of_the_readme_is_what_the_simulation_gives() -> None:
    """The rows on the test alone and on the verdict, to the digit: the seeds are fixed."""
    import simulated_runs as sim

    text = (ROOT / "README.md").read_text("utf-8")
    sizes = (8, 20)
    normal = [sim.trial(4000, n, "normal", common=0.5).significant for n in sizes]
    shared = [sim.trial(4000, n, "normal", shared=0.2).verdict(1.0) for n in sizes]
    halved = [sim.trial(4000, n, "normal", factor=0.5).verdict(1.0) for n in sizes]
    for name, values in (
        ("test alone; normal errors", normal),
        ("the same: verdict (with the ratio, too), RMSE at the limit", shared),
        ("power: RMSE halved, from the limit", halved),
    ):
        cells = " | ".join(f"{100 * value:.1f}" for value in values)
        assert f"| {name} | {cells} |" in text, (name, cells)


def test_json_is_the_record_and_valid(at_site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """``--json`` prints the record, ``--schema`` what it must look like; progress goes to stderr."""
    assert run(["compare", "before.accuracy", "better.accuracy", "--json"]) == ExitCode.PASSES
    record = json.loads(capsys.readouterr().out)
    assert run(["compare", "--schema"]) == ExitCode.PASSES
    schema = json.loads(capsys.readouterr().out)
    assert schema == comparison_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.validate(record, schema)
    assert record["verdict"] == "better"
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(record | {"verdict": "perhaps"}, schema)


def junit(path: Path) -> tuple[dict[str, str], list[ElementTree.Element]]:
    root = ElementTree.parse(path).getroot()
    cases = list(root.iter("testcase"))
    return dict(root.attrib), cases


@pytest.mark.parametrize(("name", "failures"), [("better", "0"), ("worse", "2")])
def test_junit_has_a_case_for_each_comparison_and_claim(
    at_site: Path, name: str, failures: str
) -> None:
    """Regressions and claims that fell are failures; nothing is ever skipped."""
    run(["compare", "-q", "before.accuracy", f"{name}.accuracy", "--junit", "junit/c.xml"])
    totals, cases = junit(at_site / "junit" / "c.xml")
    assert totals["tests"] == str(len(cases)) == "2"
    assert (totals["failures"], totals["errors"], totals["skipped"]) == (failures, "0", "0")
    assert not any(case.findall("skipped") for case in cases)


def test_no_statement_is_an_error_in_junit(tmp_path: Path) -> None:
    """A claim without a statement, or without common checkpoints, is an error, not a pass and not skipped."""
    job = compare_site.make_run(tmp_path / "few", compare_site.errors("before")[:9])
    assert run(["verify", "-q", str(job), "--junit", str(tmp_path / "v.xml")]) == 3
    totals, (case,) = junit(tmp_path / "v.xml")
    assert (totals["tests"], totals["failures"], totals["errors"]) == ("1", "0", "1")
    (error,) = case.findall("error")
    assert "at least 30 wanted" in error.attrib["message"]
    silent = compare_site.make_run(tmp_path / "s", compare_site.errors("before"), claims=[])
    assert run(["verify", "-q", str(silent), "--junit", str(tmp_path / "w.xml")]) == 0
    assert junit(tmp_path / "w.xml")[0]["errors"] == "1"
    code = run(
        [
            "compare",
            "-q",
            str(tmp_path / "few/job.accuracy"),
            str(tmp_path / "s/job.accuracy"),
            "--junit",
            str(tmp_path / "c.xml"),
        ]
    )
    assert code == 3
    assert int(junit(tmp_path / "c.xml")[0]["errors"]) >= 1


def test_a_baseline_is_written_and_compared_with(at_site: Path) -> None:
    """Write once, compare later runs: better is 0, worse is 1, and the file says nothing of the machine."""
    assert run(["compare", "-q", "before.accuracy", "--write-baseline", "kept/base.json"]) == 0
    assert str(at_site) not in (at_site / "kept/base.json").read_text("utf-8")
    for name, code in (("better", 0), ("worse", 1), ("before", 0)):
        assert run(["compare", "-q", f"{name}.accuracy", "--baseline", "kept/base.json"]) == code


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        ([], "two runs are needed"),
        (["before.accuracy"], "two runs are needed"),
        (["before.accuracy", "nowhere"], "nowhere"),
        (["before.accuracy", "before"], "result.json: cannot be read"),
        (["before.accuracy", "ledger:9"], "there is no ledger"),
        (["before.accuracy", "--baseline", "none.json"], "there is no baseline none.json"),
        (["before.accuracy", "better.accuracy", "-o", "x.docx"], "none of the endings"),
        (["before.accuracy", "better.accuracy", "--tolerance-m", "-1"], "the tolerance is -1.0 m"),
        (["before.accuracy", "better.accuracy", "--tolerance-m", "nan"], "the tolerance is nan m"),
        (["before.accuracy", "better.accuracy", "--tolerance-m", "wide"], "wide"),
        (["before.accuracy", "before/job.toml"], "is not JSON"),
    ],
)
def test_wrong_use_is_one_clear_message_and_code_2(
    at_site: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], says: str
) -> None:
    """Told on stderr with a remedy; nothing on stdout."""
    assert run(["compare", "-q", *arguments]) == ExitCode.COULD_NOT_RUN
    printed = capsys.readouterr()
    assert says in printed.err
    assert "Traceback" not in printed.err
    assert printed.out == ""


def test_recorded_runs_make_a_history(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Verify with --record, then show, filter, export, draw, and compare by number."""
    monkeypatch.chdir(tmp_path)
    for name in ("before", "better"):
        _, _, settings = compare_site.RUNS[name]
        job = compare_site.make_run(tmp_path / name, compare_site.errors(name), processing=settings)
        assert run(["verify", str(job), "--record", "--ledger", "l.sqlite"]) == 0
    assert "recorded as run 2 of l.sqlite" in capsys.readouterr().out
    assert run(["history", "l.sqlite", "-q", "--csv", "h.csv", "--svg", "h.svg"]) == 0
    rows = list(csv.DictReader(io.StringIO((tmp_path / "h.csv").read_text("utf-8"))))
    assert {row["run"] for row in rows} == {"1", "2"}
    assert {row["sensor"] for row in rows} == {"Wendle 2"}
    svg = (tmp_path / "h.svg").read_text("utf-8")
    assert ElementTree.fromstring(svg).tag.endswith("svg")
    assert "Tollgarth Quarry" in svg
    assert run(["history", "l.sqlite"]) == 0
    text = capsys.readouterr().out
    assert "Tollgarth Quarry, Wendle 2, ground targets, up, non-vegetated" in text
    bars = [line.count("#") for line in text.splitlines() if "strip.adjusted" in line]
    assert bars[0] > bars[1] > 0
    assert run(["history", "l.sqlite", "--setting", "strip.adjusted=true", "--json"]) == 0
    (entry,) = json.loads(capsys.readouterr().out)["runs"]
    assert entry["number"] == 2
    assert run(["history", "--ledger", "l.sqlite", "--site", "elsewhere"]) == 0
    assert "no run fits" in capsys.readouterr().out
    assert run(["history", "-q", "l.sqlite", "--site", "elsewhere", "--svg", "none.svg"]) == 0
    assert "no run fits" in (tmp_path / "none.svg").read_text("utf-8")
    assert run(["compare", "-q", "ledger:1", "ledger:2", "--ledger", "l.sqlite"]) == 0
    assert run(["compare", "-q", "ledger:2", "ledger:1", "--ledger", "l.sqlite"]) == 1
    assert (
        run(["history", "-q", "--rebuild", ".", "--ledger", "again.sqlite", "--csv", "g.csv"]) == 0
    )
    assert (tmp_path / "g.csv").read_text("utf-8") == (tmp_path / "h.csv").read_text("utf-8")


def test_a_damaged_ledger_stops_before_anything_is_computed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Told with the remedy, exit 2, the file untouched, no result folder made."""
    job = compare_site.make_run(tmp_path / "a", compare_site.errors("before"))
    ledger = tmp_path / "l.sqlite"
    ledger.write_bytes(b"junk" * 1000)
    code = run(["verify", "-q", str(job), "--record", "--ledger", str(ledger)])
    assert code == ExitCode.COULD_NOT_RUN
    assert "is damaged, or not a ledger; it is left as it is" in capsys.readouterr().err
    assert ledger.read_bytes() == b"junk" * 1000
    assert not (tmp_path / "a" / "job.accuracy").exists()
    assert run(["verify", "-q", str(job), "--ledger", str(ledger)]) == ExitCode.COULD_NOT_RUN


def test_nothing_to_rebuild_from_is_an_error(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """No ledger is made from nothing."""
    path = tmp_path / "l.sqlite"
    code = run(["history", "--rebuild", str(tmp_path), "--ledger", str(path)])
    assert code == ExitCode.COULD_NOT_RUN
    assert not path.exists()
    assert "no result is found" in capsys.readouterr().err
