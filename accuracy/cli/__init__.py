"""The command line: one thin file per command, and the only place that decides an exit code."""

from __future__ import annotations

import contextlib
import importlib
import os
import sys
from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import Any

import click

from accuracy import __version__
from accuracy.errors import AccuracyError, ExitCode

#: Command to the module that holds it; loaded only when asked for.
COMMANDS: Mapping[str, str] = MappingProxyType(
    {
        "base": "accuracy.cli.base",
        "compare": "accuracy.cli.compare",
        "datum": "accuracy.cli.datum",
        "demo": "accuracy.cli.demo",
        "diagnose": "accuracy.cli.diagnose",
        "history": "accuracy.cli.history",
        "inspect": "accuracy.cli.inspect",
        "lines": "accuracy.cli.lines",
        "pick": "accuracy.cli.pick",
        "plan": "accuracy.cli.plan",
        "recheck": "accuracy.cli.recheck",
        "report": "accuracy.cli.report",
        "sign": "accuracy.cli.sign",
        "simulate": "accuracy.cli.simulate",
        "standards": "accuracy.cli.standards",
        "verify": "accuracy.cli.verify",
    }
)

EXIT_CODES = """\b
Exit codes:
  0    no claim fails or lacks a statement
  1    a claim fails (base, inspect, datum, recheck: a blocking finding; compare: a regression)
  2    could not run: usage, job or input
  3    a claim has no statement, and none fails (compare: no common checkpoints)
  70   fault in the tool
  130  interrupted, nothing half-written left behind"""


class _Lazy(click.Group):
    def list_commands(self, ctx: click.Context) -> list[str]:
        return sorted(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        command: click.Command = importlib.import_module(COMMANDS[cmd_name]).command
        return command


@click.group(
    cls=_Lazy,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 96},
    epilog=EXIT_CODES,
)
@click.version_option(__version__, prog_name="accuracy")
def group() -> None:
    """Check a point cloud, elevation raster or orthophoto against surveyed checkpoints.

    \b
    Try it:   accuracy demo site
    Then:     accuracy verify site/job.toml
    """  # noqa: D301 (click's own mark for text that must not be re-wrapped)


def say(text: str) -> None:
    """Write to stderr, whatever the console can show; control characters from files become visible."""
    from accuracy.reports.words import printable_lines

    if sys.stderr is None:  # closed by the caller
        return
    encoding = sys.stderr.encoding or "utf-8"
    text = printable_lines(text)
    with contextlib.suppress(OSError):
        sys.stderr.write(text.encode(encoding, "replace").decode(encoding) + "\n")


def write_out(text: str) -> None:
    """Write to stdout; characters that the console does not know are replaced, never a traceback."""
    if sys.stdout is None:  # closed by the caller
        return
    encoding = sys.stdout.encoding or "utf-8"
    sys.stdout.write(text.encode(encoding, "replace").decode(encoding))
    sys.stdout.flush()


def run(arguments: Sequence[str] | None = None) -> int:
    """Run the command line and give its exit code; nothing escapes as a traceback."""
    try:
        outcome: Any = group.main(
            args=list(arguments) if arguments is not None else None,
            prog_name="accuracy",
            standalone_mode=False,
        )
    except click.exceptions.Exit as stop:
        return int(stop.exit_code)
    except click.ClickException as error:
        say(f"error: {error.format_message()}")
        if isinstance(error, click.UsageError) and error.ctx is not None:
            say(f"  remedy: see {error.ctx.command_path} --help")
        return ExitCode.COULD_NOT_RUN
    except AccuracyError as error:
        say(f"error: {error}")
        return error.exit_code
    except (KeyboardInterrupt, click.exceptions.Abort):
        return _interrupted()
    except MemoryError:
        say(
            "error: not enough memory\n  remedy: close other programs, or test fewer files at a time"
        )
        return ExitCode.COULD_NOT_RUN
    except (
        OSError
    ) as error:  # what is read and written is guarded where it happens; this is the console
        say(f"error: output cannot be written: {error.strerror or error}")
        return ExitCode.COULD_NOT_RUN
    except Exception as error:
        if _wraps_interrupt(error):
            return _interrupted()
        say(_fault(error))
        return ExitCode.FAULT_IN_TOOL
    return int(outcome or ExitCode.PASSES)


def _interrupted() -> int:
    say("interrupted; no half-written result was left behind")
    return ExitCode.INTERRUPTED


def _wraps_interrupt(error: BaseException | None) -> bool:
    """Whether a library turned an interrupt into an error of its own."""
    while error is not None:
        if isinstance(error, KeyboardInterrupt):
            return True
        error = error.__cause__ or error.__context__
    return False


def _fault(error: Exception) -> str:
    """Describe a fault of the tool itself so that it can be reported, without a traceback on the screen."""
    import os
    import traceback

    if os.environ.get("ACCURACY_TRACEBACK"):
        return traceback.format_exc()
    last = traceback.extract_tb(error.__traceback__)[-1]
    return (
        f"fault in the tool: {type(error).__name__}: {error}\n"
        f"  at {last.name}, line {last.lineno}; accuracy {__version__}\n"
        "  remedy: this is not your mistake. Please report it with these lines and the job file; "
        "set ACCURACY_TRACEBACK=1 to see more"
    )


def main() -> None:
    """Entry point of the ``accuracy`` command."""
    # Matrices here are small: threads for each of them cost far more than they bring on a busy machine.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    sys.exit(run())
