from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from accuracy import cli
from accuracy.cli import COMMANDS, run
from accuracy.errors import ExitCode
from accuracy.reports import EXPORTS

FOLDER = Path(cli.__file__).parent


def spawn(*arguments: str, **options: object) -> subprocess.CompletedProcess[str]:
    """Run the command as a user does, in a process of its own."""
    return subprocess.run(
        [sys.executable, "-m", "accuracy", *arguments],
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=120,
        check=False,
        **options,
    )


def test_every_command_has_its_file_and_help_with_an_example(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """The table of commands and the folder agree; each help shows a worked example and the exit codes."""
    for name, module in COMMANDS.items():
        assert (FOLDER / f"{module.rsplit('.', 1)[1]}.py").is_file()
        assert run([name, "--help"]) == 0
        text = capsys.readouterr().out
        assert f"accuracy {name}" in text
        assert "Example:" in text
        assert "Exit codes:" in text


def test_help_names_every_exit_code(capsys: pytest.CaptureFixture[str]) -> None:
    """Exit codes are a contract; ``--help`` tells all of them."""
    assert run(["--help"]) == 0
    text = capsys.readouterr().out
    for code in ExitCode:
        assert f"\n    {code.value:<4} " in text


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["verify"], "no job file given"),
        (["verify", "nowhere.toml"], "nowhere.toml"),
        (["verifi"], "No such command"),
        (["verify", "--colour"], "No such option"),
        (["demo", "x", "--seed", "many"], "many"),
    ],
)
def test_wrong_use_is_one_clear_message_and_code_2(
    arguments: list[str],
    says: str,
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Usage errors: stderr only, exit code 2 (click's own would be 1, which means that a claim fails)."""
    monkeypatch.chdir(tmp_path)
    assert run(arguments) == ExitCode.COULD_NOT_RUN
    printed = capsys.readouterr()
    assert says in printed.err
    assert printed.out == ""
    assert "Traceback" not in printed.err
    assert list(tmp_path.iterdir()) == []


def test_a_fault_in_the_tool_is_70_without_traceback(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """An exception nobody expected must not look like a failed claim (Python itself would exit with 1)."""

    def broken(**_: object) -> None:
        raise ZeroDivisionError("planted")

    monkeypatch.setattr(cli.group, "main", broken)
    assert run([]) == ExitCode.FAULT_IN_TOOL
    assert "planted" in capsys.readouterr().err


def test_an_interrupt_is_130(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Ctrl-C ends with the customary code and one line."""

    def interrupted(**_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(cli.group, "main", interrupted)
    assert run([]) == ExitCode.INTERRUPTED
    assert "no half-written result" in capsys.readouterr().err


def test_the_demo_runs_and_leaves_a_complete_result(tmp_path: Path) -> None:
    """The one command of the README: exit 0, the job shown, a result folder with every export."""
    done = spawn("demo", "site", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert "Invented demo" in done.stdout
    assert "[checkpoints]" in done.stdout
    result = tmp_path / "site" / "job.accuracy"
    names = {path.name for path in result.iterdir()}
    beside = {"relief-1.png", "evidence"}
    assert names == {*beside, *(n for n, export in EXPORTS.items() if export.by_default)}
    assert (result / "evidence" / "1.svg").is_file()
    verdicts = [
        claim["verdict"]
        for dataset in json.loads((result / "result.json").read_text("utf-8"))["datasets"]
        for claim in dataset["claims"]
    ]
    assert {"passes", "fails", "no-statement"} <= set(verdicts)


def test_verify_of_the_demo_ends_with_1_because_a_claim_fails(tmp_path: Path) -> None:
    """A failing claim fails a build; ``-q`` says nothing; ``--json`` prints the record."""
    assert spawn("demo", "site", "-q", cwd=tmp_path).returncode == 0
    silent = spawn("verify", "site/job.toml", "-q", cwd=tmp_path)
    assert (silent.returncode, silent.stdout, silent.stderr) == (1, "", "")
    machine = spawn("verify", "site/job.toml", "--json", "-o", "out", cwd=tmp_path)
    assert machine.returncode == 1
    assert json.loads(machine.stdout)["format"] == "accuracy-result"
    assert (tmp_path / "out" / "result.json").is_file()


def test_dry_run_checks_everything_and_writes_nothing(tmp_path: Path) -> None:
    """``--dry-run``: 0 for a sound job, 2 for a broken input, no result folder either way."""
    assert spawn("demo", "site", "-q", cwd=tmp_path).returncode == 0
    result = tmp_path / "site" / "job.accuracy"
    shutil.rmtree(result)
    done = spawn("verify", "site/job.toml", "--dry-run", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert "nothing computed" in done.stdout
    (tmp_path / "site" / "cloud" / "tile_west.laz").write_bytes(b"not a cloud")
    broken = spawn("verify", "site/job.toml", "--dry-run", cwd=tmp_path)
    assert broken.returncode == 2
    assert "tile_west.laz" in broken.stderr
    assert not result.exists()


def test_a_console_that_knows_little_gets_replacements_not_a_traceback(tmp_path: Path) -> None:
    """Windows consoles: code page 1252 for stdout and stderr; the run ends as it should."""
    environment = os.environ | {"PYTHONIOENCODING": "cp1252", "PYTHONUTF8": "0"}
    done = subprocess.run(
        [sys.executable, "-m", "accuracy", "demo", "site"],
        capture_output=True,
        cwd=tmp_path,
        env=environment,
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    done.stdout.decode("cp1252")


def test_schemas_are_printed_for_editors(capsys: pytest.CaptureFixture[str]) -> None:
    """Both schemas are JSON on stdout."""
    assert run(["verify", "--schema"]) == 0
    assert "checkpoints" in json.loads(capsys.readouterr().out)["properties"]
    assert run(["verify", "--result-schema"]) == 0
    assert "datasets" in json.loads(capsys.readouterr().out)["properties"]


def test_an_interrupt_that_a_library_wrapped_is_still_130(monkeypatch: pytest.MonkeyPatch) -> None:
    """Ctrl-C inside an import can come out as the library's own error."""

    def wrapped(**_: object) -> None:
        try:
            raise KeyboardInterrupt
        except KeyboardInterrupt as error:
            raise RuntimeError("Error calling __set_name__") from error

    monkeypatch.setattr(cli.group, "main", wrapped)
    assert run([]) == ExitCode.INTERRUPTED


def test_control_characters_of_a_file_do_not_reach_the_terminal(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """A job whose text holds terminal escapes and bidirectional marks is told harmlessly."""
    job = tmp_path / "job.toml"
    job.write_text('[job]\ntitle = "t"\n"\\u001b[2J\\u202e" = 1\n', "utf-8")
    assert run(["verify", str(job)]) == ExitCode.COULD_NOT_RUN
    told = capsys.readouterr().err
    assert "\x1b" not in told
    assert "\u202e" not in told


def test_a_closed_or_full_stdout_is_no_fault_of_the_tool(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Nowhere to write to: code 2 where writing fails, and no traceback where stdout is closed."""

    class Full:
        encoding = "utf-8"

        def write(self, text: str) -> int:
            raise OSError(28, "No space left on device")

        def flush(self) -> None: ...

        def isatty(self) -> bool:
            return False

    monkeypatch.setattr(sys, "stdout", Full())
    assert run(["verify", "--schema"]) == ExitCode.COULD_NOT_RUN
    assert "No space left" in capsys.readouterr().err
    monkeypatch.setattr(sys, "stdout", None)
    assert run(["verify", "--schema"]) == ExitCode.PASSES


@pytest.mark.parametrize("output", ["/", "x" * 300, "link"])
def test_an_output_that_cannot_be_a_result_folder_is_refused(
    output: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A root, an overlong name, a link: one message, code 2, nothing changed."""
    assert run(["demo", str(tmp_path / "site"), "-q"]) == 0
    monkeypatch.chdir(tmp_path)
    (tmp_path / "there").mkdir()
    try:
        (tmp_path / "link").symlink_to("there", target_is_directory=True)
    except OSError:
        pytest.skip("this system makes no links for this user")
    capsys.readouterr()
    assert run(["verify", "site/job.toml", "-q", "-o", output]) == ExitCode.COULD_NOT_RUN
    assert "remedy" in capsys.readouterr().err
    assert (tmp_path / "link").is_symlink()
    assert {p.name for p in tmp_path.iterdir()} == {"site", "there", "link"}


def test_the_present_folder_may_hold_the_result(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """``-o .`` means the folder itself: refused where it holds other things, never a fault."""
    assert run(["demo", str(tmp_path / "site"), "-q"]) == 0
    monkeypatch.chdir(tmp_path / "site")
    assert run(["verify", "job.toml", "-q", "-o", "."]) == ExitCode.COULD_NOT_RUN
    assert (tmp_path / "site" / "job.toml").is_file()
