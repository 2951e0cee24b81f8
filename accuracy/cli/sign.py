"""``accuracy sign``: put a detached signature beside a result."""

from __future__ import annotations

from pathlib import Path

import click

from accuracy.cli import EXIT_CODES, write_out
from accuracy.errors import ExitCode

EPILOG = f"""\b
Example:
  openssl genpkey -algorithm ed25519 -out signer.pem
  openssl pkey -in signer.pem -pubout -out signer-public.pem
  accuracy sign site/job.accuracy --key signer.pem
  writes site/job.accuracy/result.json.sig, 64 bytes that openssl checks, too.
  Keys are never made here. Needs the extra signing.

{EXIT_CODES}"""


@click.command(epilog=EPILOG)
@click.argument("result", type=click.Path(path_type=Path))
@click.option(
    "--key",
    required=True,
    type=click.Path(path_type=Path),
    help="Private key of the signer (PEM, Ed25519). Its passphrase is asked for.",
)
def command(result: Path, key: Path) -> int:
    """Sign RESULT: a result.json, or the folder that accuracy verify wrote."""
    from accuracy.recheck import sign
    from accuracy.recheck.record import as_written, read_record
    from accuracy.reports.folder import MARK
    from accuracy.result import parse_result

    path = result / MARK if result.is_dir() else result
    content, data, repeated = read_record(path)
    parse_result(content.decode("utf-8"), str(path))
    for finding in as_written(data, repeated):
        raise _unsound(finding.message, path)

    def passphrase() -> str:
        asked: str = click.prompt("passphrase of the key", hide_input=True, err=True)
        return asked

    write_out(f"{sign(path, key, passphrase)}\n")
    return ExitCode.PASSES


def _unsound(told: str, path: Path) -> Exception:
    from accuracy.errors import ResultError

    return ResultError(told, where=str(path), remedy="sign only what accuracy recheck finds sound")
