"""What is wrong with a job: all of it at once, in the words of the job file.

The declared sections check every key by itself; here their errors are put into words, and keys are checked
against one another. These checks take the raw tables, so that they run beside errors elsewhere.
"""

from __future__ import annotations

import difflib
import json
import math
import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from accuracy.errors import Problem
from accuracy.job import (
    base,
    grids,
    lines_section,
    local_grid,
    processing,
    sections,
    targets_section,
    trajectory_section,
)
from accuracy.job.files import matches, why_missing
from accuracy.job.values import HEIGHT_METHODS, KINDS_OF_KEY, OF_NEIGHBOURHOOD

CheckClaim = Callable[[str, Mapping[str, Any], str, Path], list[Problem]]
Data = Mapping[str, Any]

_MODELS: Mapping[tuple[str, ...], type[BaseModel]] = {
    (): sections.Job,
    ("job",): sections.About,
    ("checkpoints",): sections.Checkpoints,
    ("checkpoints", "exclude"): sections.Exclusion,
    ("dataset",): sections.Dataset,
    ("claim",): sections.Claim,
    ("grids",): grids.Grids,
    ("local_grid",): local_grid.LocalGridSection,
    ("local_grid", "pair"): local_grid.LocalGridPair,
    ("base",): base.BaseSection,
    ("base", "published"): base.BaseCoordinates,
    ("base", "held"): base.HeldCoordinates,
    ("base", "held", "solved_with"): base.HeightGiven,
    ("base", "antenna"): base.BaseAntenna,
    ("base", "height"): base.MeasuredHeight,
    ("base", "processing"): base.BaseProcessing,
    ("base", "processing", "height"): base.HeightGiven,
    ("base", "occupation"): base.Occupation,
    ("base", "solution"): base.BaseSolution,
    ("base", "flight"): base.BaseFlight,
    ("targets",): targets_section.TargetsSection,
    ("together",): targets_section.TogetherSection,
    ("trajectory",): trajectory_section.TrajectorySection,
    ("trajectory", "columns"): trajectory_section.TrajectoryColumns,
    ("lines",): lines_section.LinesSection,
    ("area",): sections.Area,
    ("flight",): sections.Flight,
    ("sensor",): sections.Sensor,
    ("report",): sections.Report,
}
_REPEATED = frozenset(
    {
        ("checkpoints", "exclude"),
        ("dataset",),
        ("claim",),
        ("local_grid", "pair"),
        ("base", "occupation"),
        ("base", "solution"),
    }
)
_PHRASES = {
    "string_type": "must be text in quotes",
    "string_too_short": "must not be empty",
    "float_type": "must be a number",
    "int_type": "must be a whole number",
    "bool_type": "must be true or false",
    "greater_than": "must be greater than {gt:g}",
    "greater_than_equal": "must be at least {ge:g}",
    "less_than_equal": "must be at most {le:g}",
    "less_than": "must be less than {lt:g}",
    "tuple_type": "must be a list in brackets",
    "too_short": "must have at least one entry",
}
_TABLE_ERRORS = frozenset({"model_type", "model_attributes_type", "dict_type"})


def problems_of(
    data: Data, folder: Path, check_claim: CheckClaim, *, planning: bool = False
) -> tuple[Problem, ...]:
    """Find all mistakes in a job as parsed from TOML, in the order of the document.

    Parameters
    ----------
    data : mapping
        The parsed document.
    folder : Path
        Folder of the job file.
    check_claim : callable
        Checks the keys of a claim: (standard, keys, where, folder) -> problems.
    planning : bool
        Whether the job may come without a table of checkpoints, and, where it declares their system and an
        outline, without the files of a dataset.
    """
    problems = list(_not_finite(data, ""))
    already = {problem.where for problem in problems}
    try:
        sections.Job.model_validate(data)
    except ValidationError as error:
        # A list whose entries are all wrong counts as empty there, which would only confuse.
        errors = [
            e for e in error.errors(include_url=False) if e["type"] != "too_short" or not e["input"]
        ]
        problems += [problem for problem in map(_described, errors) if problem.where not in already]
    checks = (
        _dataset_problems,
        _point_problems,
        _flight_problems,
        local_grid.local_grid_problems,
        base.base_problems,
    )
    for check in checks:
        problems += check(data)
    problems += trajectory_section.trajectory_problems(data)
    problems += lines_section.lines_problems(data)
    problems += targets_section.targets_problems(data)
    if not planning:
        problems += _table_problems(data)
    problems += _file_problems(data, folder, planning=planning)
    problems += grids.grids_problems(data, folder)
    problems += processing.processing_problems(data, folder)
    problems += _claim_problems(data, folder, check_claim)
    names = list(data)

    def position(problem: Problem) -> tuple[int, int]:
        found = re.match(r"(\w+)(?:\[(\d+)\])?", problem.where)
        name = found[1] if found else ""
        entry = int(found[2] or -1) if found else -1
        return names.index(name) if name in names else len(names), entry

    return tuple(sorted(problems, key=position))


def shown(value: object) -> str:
    """Show a value much as TOML writes it, shortened."""
    text = json.dumps(value, ensure_ascii=False, default=str)
    return text if len(text) <= 60 else text[:57] + "..."


def _path(loc: Iterable[int | str], text: str = "") -> str:
    """Write ``("dataset", 0, "kind")`` as ``dataset[0].kind``, behind `text`."""
    for part in loc:
        if isinstance(part, int):
            text += f"[{part}]"
        else:
            key = part if re.fullmatch(r"[\w-]+", part) else shown(part)
            text += f".{key}" if text else key
    return text


def _described(error: ErrorDetails) -> Problem:
    """Put one error of a declared section into words."""
    loc, kind, value = error["loc"], error["type"], error["input"]
    names = tuple(part for part in loc if isinstance(part, str))
    where, parent, key = _path(loc), names[:-1], names[-1]
    if kind == "extra_forbidden":
        return Problem(where, f"unknown key {key!r}", _known_keys(key, parent))
    field = _MODELS[parent].model_fields.get(key) if parent in _MODELS else None
    meaning = (field.description or "") if field else ""
    if kind == "missing":
        return Problem(where, "missing", f"required: {meaning}")
    context = error.get("ctx", {})
    if kind == "value_error":
        must = str(context["error"])
    elif kind in ("literal_error", "enum"):
        choices = re.findall(r"'([^']*)'", str(context["expected"]))
        must = f"must be one of {', '.join(choices)}{_did_you_mean(value, choices, 2)}"
    elif kind in _TABLE_ERRORS:
        must = f"must be a table: write {'[[' if names in _REPEATED else '['}{_header(names)}"
    elif kind == "tuple_type" and names in _REPEATED:
        must = f"must be a list of tables: write [[{_header(names)}]"
    else:
        must = _PHRASES.get(kind, error["msg"]).format(**context)
    if kind != "value_error" and meaning:
        must = f"{must} ({meaning.rstrip('.')})"
    return Problem(where, f"found {shown(value)}", must)


def _header(names: tuple[str, ...]) -> str:
    return ".".join(names) + "]" + ("]" if names in _REPEATED else "")


def _did_you_mean(value: object, choices: Iterable[str], at_most: int = 1) -> str:
    """Name near choices; two where a wrong hint would harm, as between the two feet."""
    close = difflib.get_close_matches(str(value).lower(), list(choices), at_most)
    return f"; did you mean {' or '.join(close)}?" if close else ""


def _known_keys(key: str, parent: tuple[str, ...]) -> str:
    keys = list(_MODELS[parent].model_fields)
    hint = _did_you_mean(key, keys).removeprefix("; ")
    elsewhere = [
        _bracketed(names) for names, model in _MODELS.items() if names and key in model.model_fields
    ]
    if not hint and elsewhere:
        hint = f"it belongs under {' or '.join(elsewhere)};"
    return f"{hint} the keys here are: {', '.join(keys)}".strip()


def _bracketed(names: tuple[str, ...]) -> str:
    text = ".".join(names)
    return f"[[{text}]]" if names in _REPEATED else f"[{text}]"


def _not_finite(value: object, where: str) -> Iterator[Problem]:
    """Refuse nan and inf, which TOML allows, anywhere."""
    if isinstance(value, float) and not math.isfinite(value):
        yield Problem(where, f"found {value}", "must be a finite number")
    elif isinstance(value, Mapping):
        for key, inner in value.items():
            yield from _not_finite(inner, _path((key,), where))
    elif isinstance(value, list):
        for index, inner in enumerate(value):
            yield from _not_finite(inner, f"{where}[{index}]")


def _tables(data: Data, name: str) -> Iterator[tuple[int, Data]]:
    """Yield the tables of a repeated section, whatever else may be wrong with it."""
    entries = data.get(name)
    for index, entry in enumerate(entries if isinstance(entries, list) else ()):
        if isinstance(entry, dict):
            yield index, entry


def _texts(value: object) -> list[tuple[int, str]]:
    return [
        (i, text)
        for i, text in enumerate(value if isinstance(value, list) else ())
        if isinstance(text, str)
    ]


def _dataset_problems(data: Data) -> Iterator[Problem]:
    seen: dict[str, int] = {}
    for index, dataset in _tables(data, "dataset"):
        where, name, kind = f"dataset[{index}]", dataset.get("name"), dataset.get("kind")
        if isinstance(name, str) and seen.setdefault(name, index) != index:
            yield Problem(
                f"{where}.name", f"found {shown(name)}", f"dataset[{seen[name]}] has this name, too"
            )
        if not isinstance(kind, str) or kind not in HEIGHT_METHODS:
            continue
        for key, kinds_of_key in KINDS_OF_KEY.items():
            if key in dataset and kind not in kinds_of_key:
                kinds = " or ".join(kinds_of_key)
                yield Problem(
                    f"{where}.{key}",
                    f"given for kind {shown(kind)}",
                    f"only for {kinds}: remove it",
                )
        if kind == "point-cloud" and dataset.get("ground_classes") == []:
            yield Problem(
                f"{where}.ground_classes", "found []", "must name at least one class, such as [2]"
            )
        height, methods = dataset.get("height"), HEIGHT_METHODS[kind]
        known = {method for several in HEIGHT_METHODS.values() for method in several}
        if methods and isinstance(height, str) and height in known - set(methods):
            allowed = f"for kind {shown(kind)} must be one of {', '.join(methods)}"
            yield Problem(f"{where}.height", f"found {shown(height)}", allowed)
        if kind == "point-cloud":
            yield from _neighbourhood_problems(dataset, where)


def _neighbourhood_problems(dataset: Data, where: str) -> Iterator[Problem]:
    """Find a neighbourhood without a height method that takes one, without a size, or with two."""
    height = dataset.get("height")
    least = OF_NEIGHBOURHOOD.get(height) if isinstance(height, str) else None
    if least is None:
        for key in KINDS_OF_KEY:
            if key.startswith("neighbourhood_") and key in dataset:
                allowed = f"only with height = {' or '.join(OF_NEIGHBOURHOOD)}: remove it"
                yield Problem(
                    f"{where}.{key}", f"given for height {shown(height or 'tin')}", allowed
                )
        return
    metres, spacings = "neighbourhood_across_m", "neighbourhood_across_spacings"
    if metres in dataset and spacings in dataset:
        yield Problem(f"{where}.{spacings}", f"stands beside {metres}", "give one of the two")
    elif metres not in dataset and spacings not in dataset:
        yield Problem(
            f"{where}.{metres}",
            "missing",
            f"height = {shown(height)} needs the size of its neighbourhood: {metres}, or {spacings} with "
            "design_anps_m",
        )
    elif spacings in dataset and "design_anps_m" not in dataset:
        yield Problem(
            f"{where}.design_anps_m", "missing", f"{spacings} is in multiples of this spacing"
        )
    count = dataset.get("neighbourhood_least_points")
    if type(count) is int and 3 <= count < least:
        yield Problem(
            f"{where}.neighbourhood_least_points",
            f"found {count}",
            f"at least {least} for height = {shown(height)}",
        )


def _point_problems(data: Data) -> Iterator[Problem]:
    """Check control points and exclusions against one another."""
    points = data.get("checkpoints")
    if not isinstance(points, dict):
        return
    control: dict[str, int] = {}
    for index, name in _texts(points.get("control")):
        if control.setdefault(name, index) != index:
            yield Problem(
                f"checkpoints.control[{index}]", f"{shown(name)} stands there twice", "name it once"
            )
    excluded: dict[str, int] = {}
    for index, exclusion in _tables(points, "exclude"):
        where, left_out = f"checkpoints.exclude[{index}].id", exclusion.get("id")
        if not isinstance(left_out, str):
            continue
        if excluded.setdefault(left_out, index) != index:
            yield Problem(where, f"{shown(left_out)} is excluded twice", "exclude it once")
        if left_out in control:
            yield Problem(
                where,
                f"{shown(left_out)} is a control point (checkpoints.control[{control[left_out]}])",
                "a control point is never judged, so it need not be excluded: remove one of the two",
            )


def _table_problems(data: Data) -> Iterator[Problem]:
    points = data.get("checkpoints")
    if isinstance(points, dict) and "file" not in points:
        meaning = sections.Checkpoints.model_fields["file"].description
        yield Problem("checkpoints.file", "missing", f"required: {meaning}")


def _flight_problems(data: Data) -> Iterator[Problem]:
    """Find one of two sections without the other: a prediction needs both."""
    for one, other in (("flight", "sensor"), ("sensor", "flight")):
        if one in data and other not in data:
            yield Problem(one, f"stands without [{other}]", "a prediction needs both sections")


def _file_problems(data: Data, folder: Path, *, planning: bool) -> Iterator[Problem]:
    points = data.get("checkpoints")
    named = [("checkpoints.file", points.get("file"))] if isinstance(points, dict) else []
    if isinstance(grid := data.get("local_grid"), dict):
        named.append(("local_grid.pairs", grid.get("pairs")))
    if isinstance(station := data.get("base"), dict):
        named += [(f"base.{key}", station.get(key)) for key in base.FILE_KEYS]
    if isinstance(flown := data.get("trajectory"), dict):
        named.append(("trajectory.file", flown.get("file")))
    if isinstance(area := data.get("area"), dict):
        named.append(("area.file", area.get("file")))
    for index, dataset in _tables(data, "dataset"):
        texts = [text for _, text in _texts(dataset.get("files"))]
        if (
            planning
            and "area" in data
            and dataset.get("crs")
            and not any(matches(folder, text) for text in texts)
        ):
            continue  # not flown yet
        named += [
            (f"dataset[{index}].files[{i}]", text) for i, text in _texts(dataset.get("files"))
        ]
    for where, text in named:
        if isinstance(text, str) and text:
            found = matches(folder, text)
            if not found:
                yield Problem(where, f"{shown(text)} names no file", why_missing(folder, text))
            elif not where.startswith("dataset") and len(found) > 1:
                yield Problem(
                    where, f"{shown(text)} names {len(found)} files", "must name one file"
                )


def _claim_problems(data: Data, folder: Path, check_claim: CheckClaim) -> Iterator[Problem]:
    datasets = [
        entry["name"] for _, entry in _tables(data, "dataset") if isinstance(entry.get("name"), str)
    ]
    for index, claim in _tables(data, "claim"):
        where, name, standard = f"claim[{index}]", claim.get("dataset"), claim.get("standard")
        if isinstance(name, str) and name and name not in datasets:
            hint = _did_you_mean(name, datasets)
            names = ", ".join(map(shown, dict.fromkeys(datasets))) or "none is named"
            allowed = f"must be the name of a dataset: {names}{hint}"
            yield Problem(f"{where}.dataset", f"found {shown(name)}", allowed)
        keys = {key: value for key, value in claim.items() if key not in ("dataset", "standard")}
        for key, value in keys.items():
            if not isinstance(value, (int, float, str)):
                must = "must be a number, text, or true or false"
                yield Problem(_path((key,), where), f"found {shown(value)}", must)
        if isinstance(standard, str) and standard:
            plain = {k: v for k, v in keys.items() if isinstance(v, (int, float, str))}
            yield from check_claim(standard, plain, where, folder)
