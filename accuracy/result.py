"""The result: the complete record of one verification, to and from JSON.

Every other output is a view of it. The same inputs give the same bytes outside ``run``. The shape is that of
``accuracy/result.schema.json``, which is shipped with the package.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, fields, is_dataclass, replace
from enum import Enum
from importlib import resources
from pathlib import Path, PurePath
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Literal

from accuracy.digest import digest_of
from accuracy.errors import ExitCode, ResultError
from accuracy.findings import Finding
from accuracy.formats import CrsEvidence
from accuracy.georeferencing.carrying import Step
from accuracy.georeferencing.reference import Reference
from accuracy.layout import Layout
from accuracy.residuals import Position, ResidualRow
from accuracy.sampling import Patch
from accuracy.standards.judge import Check
from accuracy.standards.judge.side_by_side import SideBySide
from accuracy.stats import Figure

if TYPE_CHECKING:
    import pandas as pd

FORMAT = "accuracy-result"

#: 1: first.
FORMAT_VERSION = 1

Verdict = Literal["passes", "fails", "no-statement", "reported"]
Overall = Literal["passes", "fails", "no-statement", "reported", "none"]


@dataclass(frozen=True)
class Run:
    """Everything that may differ between identical runs.

    Attributes
    ----------
    tool_version, python : str
        Versions of this package and of Python.
    libraries : mapping of str to str
        Versions of the libraries that compute.
    proj, epsg : str
        Versions of PROJ and of its EPSG dataset.
    started, finished : str
        UTC, ISO 8601.
    paths : mapping of str to str
        Path as written to absolute path.
    workers : int
        Processes that read.
    scheduler : str or None
        Address of the scheduler that these processes belong to.
    notes : tuple of str
        Reuse of an index or of hashes, a foreign environment put aside.
    digest : str or None
        Of the record as it was written (`accuracy.digest`); None while it was not.
    """

    tool_version: str
    python: str
    libraries: Mapping[str, str]
    proj: str
    epsg: str
    started: str
    finished: str
    paths: Mapping[str, str]
    workers: int = 1
    scheduler: str | None = None
    notes: tuple[str, ...] = ()
    digest: str | None = field(default=None, compare=False)


@dataclass(frozen=True)
class InputFile:
    """One file that was read: what it is, its hash, and what it says about coordinates."""

    path: str
    role: Literal[
        "job",
        "checkpoints",
        "deliverable",
        "local-grid",
        "standard",
        "base-observation",
        "base-antex",
        "base-site-log",
        "trajectory",
        "processing",
        "area",
    ]
    dataset: str | None
    format: str
    bytes: int
    sha256: str
    crs_evidence: tuple[CrsEvidence, ...] = ()
    reference: Reference | None = None


@dataclass(frozen=True)
class Grid:
    """A grid file used by a transformation."""

    name: str
    sha256: str


@dataclass(frozen=True)
class Transformation:
    """How checkpoints were carried to the frame of a dataset, step by step.

    `accuracy_m` is the sum of the steps' stated accuracies; None where one of them is unknown.
    """

    dataset: str
    source: str
    target: str
    horizontal: Literal["identity", "transformed", "unknown", "differs"]
    vertical: Literal["identity", "transformed", "unknown", "differs"]
    steps: tuple[Step, ...]
    grids: tuple[Grid, ...] = ()
    accuracy_m: float | None = None
    epoch_year: float | None = None
    not_applied: tuple[str, ...] = ()
    local_grid: Mapping[str, Any] | None = None


@dataclass(frozen=True)
class ClaimResult:
    """One claim and what the standard made of it."""

    standard: str
    title: str
    claimed: Mapping[str, float | int | str | bool]
    checks: tuple[Check, ...]
    verdict: Verdict
    reason: str | None
    statement: str


@dataclass(frozen=True)
class DatasetResult:
    """One deliverable: residuals, figures and claims."""

    name: str
    kind: Literal["point-cloud", "raster", "measured-points", "orthophoto"]
    wkt: str | None
    height_method: str | None
    max_circumradius_m: float | None
    residuals: tuple[ResidualRow, ...]
    figures: tuple[Figure, ...]
    claims: tuple[ClaimResult, ...]
    neighbourhood: Patch | None = field(default=None, metadata={"left_out_if_none": True})


@dataclass(frozen=True)
class LeftOut:
    """A surveyed point that is never judged, with the reason."""

    id: str
    reason: str


@dataclass(frozen=True)
class Result:
    """The complete record of one verification. Fields are those of the shipped JSON Schema.

    Attributes
    ----------
    lines : mapping
        Name of a point cloud to what its flight lines showed; empty where they were not compared.
    side_files : mapping of str to bytes
        Pictures that lie beside ``result.json``, by file name; the record holds their SHA-256, not their
        bytes. What lies there may be another file by now: views look at the hash.
    """

    run: Run
    job: Mapping[str, Any]
    inputs: tuple[InputFile, ...]
    transformations: tuple[Transformation, ...]
    datasets: tuple[DatasetResult, ...]
    excluded: tuple[LeftOut, ...]
    control: tuple[str, ...]
    layout: Layout
    findings: tuple[Finding, ...]
    cautions: tuple[str, ...]
    verdict: Overall
    base: Mapping[str, Any] = field(default_factory=lambda: MappingProxyType({}))
    survey: Mapping[str, Any] = field(default_factory=lambda: MappingProxyType({}))
    trajectory: Mapping[str, Any] = field(default_factory=lambda: MappingProxyType({}))
    diagnosis: Mapping[str, Any] = field(default_factory=lambda: MappingProxyType({}))
    series: Mapping[str, Any] = field(default_factory=lambda: MappingProxyType({}))
    side_by_side: tuple[SideBySide, ...] = ()
    lines: Mapping[str, Any] = field(default_factory=lambda: MappingProxyType({}))
    targets: Mapping[str, Any] = field(default_factory=lambda: MappingProxyType({}))
    format: str = FORMAT
    format_version: int = FORMAT_VERSION
    side_files: Mapping[str, bytes] = field(default_factory=dict, repr=False, compare=False)

    @property
    def exit_code(self) -> ExitCode:
        """What the process tells its caller."""
        return {
            "fails": ExitCode.FAILS,
            "no-statement": ExitCode.NO_STATEMENT,
        }.get(self.verdict, ExitCode.PASSES)

    @property
    def claimed(self) -> tuple[Mapping[str, Any], ...]:
        """Claims as written: those of the job file, then those that the command line added."""
        added = self.job.get("command_line")
        more = added.get("claim") if isinstance(added, Mapping) else None
        both = [*(self.job.get("claim") or ()), *(more or ())]
        return tuple(one for one in both if isinstance(one, Mapping))

    @property
    def line_verdicts(self) -> list[Verdict]:
        """Verdicts of the claims on flight lines; empty where these were not compared."""
        return [claim["verdict"] for lines in self.lines.values() for claim in lines["claims"]]

    @property
    def residuals(self) -> pd.DataFrame:
        """All residuals as a table, one row per dataset and surveyed point; lengths in metres."""
        import pandas as pd

        rows = []
        for dataset in self.datasets:
            for row in dataset.residuals:
                residual = row.residual or Position()
                rows.append(
                    {
                        "dataset": dataset.name,
                        "id": row.id,
                        "cover": row.cover,
                        "role": row.role,
                        "used": row.used,
                        "east_m": residual.east_m,
                        "north_m": residual.north_m,
                        "up_m": residual.up_m,
                        "reason": row.reason,
                    }
                )
        return pd.DataFrame(rows)

    def to_json(self) -> str:
        """Write the record as JSON text, keys in the order of the schema.

        A record that was read keeps the digest that it came with, so that a changed one shows.
        """
        order = ["format", "format_version", "run"]
        data = plain(replace(self, side_files={}))
        assert isinstance(data, dict)
        if not data["side_by_side"]:
            del data["side_by_side"]  # as before there were any
        if not data["survey"]:
            del data["survey"]
        del data["side_files"]
        if not data["targets"]:
            del data["targets"]
        if not data["lines"]:
            del data["lines"]  # only where it was asked for
        if data["run"]["digest"] is None:
            data["run"]["digest"] = digest_of(data)
        ordered = {key: data[key] for key in order} | data
        return json.dumps(ordered, ensure_ascii=False, indent=1, allow_nan=False) + "\n"


def overall(verdicts: list[Verdict]) -> Overall:
    """Fold the verdicts of all claims: a failure first, then a missing statement."""
    for verdict in ("fails", "no-statement", "passes", "reported"):
        if verdict in verdicts:
            return verdict
    return "none"


def plain(value: object) -> Any:
    """Turn records into what JSON knows; refuse what would be lost (NaN, unknown types)."""
    if is_dataclass(value) and not isinstance(value, type):
        return {
            f.name: plain(getattr(value, f.name))
            for f in fields(value)
            if not f.metadata.get("left_out_if_none") or getattr(value, f.name) is not None
        }
    if isinstance(value, Enum):
        return plain(value.value)
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, (tuple, list)):
        return [plain(item) for item in value]
    if isinstance(value, PurePath):
        return value.as_posix()
    if isinstance(value, float) and not math.isfinite(value):
        raise ValueError(f"{value} has no place in a result")
    if value is None or isinstance(value, (str, bool, int, float)):
        return value
    raise TypeError(f"a {type(value).__name__} has no place in a result")


def result_schema() -> dict[str, Any]:
    """Give the JSON Schema of ``result.json``."""
    text = resources.files("accuracy").joinpath("result.schema.json").read_text("utf-8")
    schema: dict[str, Any] = json.loads(text)
    return schema


def read_result(path: Path) -> Result:
    """Read ``result.json``.

    Raises
    ------
    ResultError
        The file is missing, not a result, or of a format version this package does not know.
    """
    remedy = "hand in a result.json written by accuracy verify"
    try:
        text = path.read_text("utf-8")
    except OSError as error:
        raise ResultError(
            f"cannot be read: {error.strerror}", where=str(path), remedy=remedy
        ) from error
    except ValueError as error:
        raise ResultError("is not JSON", where=str(path), remedy=remedy) from error
    record = parse_result(text, str(path))
    return replace(record, side_files=_side_files(record, path.parent))


def _finite(text: str) -> float:
    value = float(text)
    if not math.isfinite(value):
        raise ValueError(f"holds the number {text}, which no result does")
    return value


def parse_result(text: str, where: str) -> Result:
    """Read a result from the text of a ``result.json``; `where` is named in errors.

    Raises
    ------
    ResultError
        The text is not a result, or of a format version this package does not know.
    """
    from pydantic import TypeAdapter, ValidationError

    remedy = "hand in a result.json written by accuracy verify"
    try:
        data = json.loads(text, parse_constant=_finite, parse_float=_finite)
    except (ValueError, RecursionError) as error:
        what = str(error) if str(error).startswith("holds") else "is not JSON"
        raise ResultError(what, where=where, remedy=remedy) from error
    if not isinstance(data, dict) or data.get("format") != FORMAT:
        raise ResultError("is not an accuracy result", where=where, remedy=remedy)
    version = data.get("format_version")
    if type(version) is not int or version != FORMAT_VERSION:
        raise ResultError(
            f"has format version {version!r}; this is version {FORMAT_VERSION}",
            where=where,
            remedy="read it with the version of the tool that wrote it, or verify the job again",
        )
    data.pop("side_files", None)
    try:
        record: Result = TypeAdapter(Result).validate_python(data)
    except ValidationError as error:
        first = error.errors()[0]
        place = ".".join(str(part) for part in first["loc"])
        raise ResultError(
            f"is damaged at {place}: {first['msg']}", where=where, remedy=remedy
        ) from error
    return record


#: Names and size of files that are looked for beside a record: ours, whatever the record says.
_SIDE_FILE = re.compile(
    r"relief-[1-9][0-9]{0,3}\.png|photo-[1-9][0-9]{0,5}\.jpg|evidence/[1-9][0-9]{0,5}\.svg"
    r"|lines-[1-9][0-9]{0,3}-(difference|density)\.png"
)
_LARGEST_SIDE_FILE = 1_000_000


def named_side_files(record: Result) -> Iterator[tuple[str, str]]:
    """Yield the files that the record says lie beside it: name and SHA-256."""
    places: list[Any] = []
    for series in record.series.values():
        plan = series.get("plan") if isinstance(series, Mapping) else None
        places.append(plan.get("relief") if isinstance(plan, Mapping) else None)
        shown = series.get("evidence") if isinstance(series, Mapping) else None
        places += (shown.get("points") or ()) if isinstance(shown, Mapping) else ()
    for point in record.survey.get("points") or ():
        its = point.get("photograph") if isinstance(point, Mapping) else None
        if isinstance(its, Mapping):
            places.append({"file": its.get("file"), "sha256": its.get("scaled_sha256")})
    for lines in record.lines.values():
        maps = lines.get("maps") if isinstance(lines, Mapping) else None
        places += maps if isinstance(maps, list | tuple) else ()
    for its in places:
        if isinstance(its, Mapping) and its.get("file"):
            yield str(its["file"]), str(its.get("sha256"))


def _side_files(record: Result, folder: Path) -> dict[str, bytes]:
    """Read the pictures that the record names, as far as they lie beside it."""
    found = {}
    for name, _ in named_side_files(record):
        path = folder / name
        try:
            if _SIDE_FILE.fullmatch(name) and path.stat().st_size <= _LARGEST_SIDE_FILE:
                found[name] = path.read_bytes()
        except OSError:
            continue  # a view says that it is not there
    return found
