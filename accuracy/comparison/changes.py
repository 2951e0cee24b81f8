"""What is not as it was: inputs by their content, job, processing settings, ways between frames, versions."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from accuracy.comparison_record import Area, Change
from accuracy.result import InputFile, Result, Transformation, plain

#: Lists of tables in a job, and the keys that name an entry: their order means nothing.
_NAMED_BY: Mapping[str, tuple[str, ...]] = {
    "dataset": ("name",),
    "claim": ("dataset", "standard"),
    "exclude": ("id",),
    "pair": ("id",),
}

#: Lists in a job whose order means nothing.
_SETS = frozenset({"control", "files", "ground_classes", "folder"})


def changes(before: Result, after: Result, run: int) -> tuple[Change, ...]:
    """Tell what differs from `before` in `after`, the run of that number, in a fixed order."""
    return (
        *_processing(before, after, run),
        *_inputs(before.inputs, after.inputs, run),
        *_job(before, after, run),
        *_standards(before, after, run),
        *_datasets(before, after, run),
        *_transformations(before, after, run),
        *_versions(before, after, run),
    )


def flat(value: object, name: str = "") -> dict[str, str]:
    """Flatten nested tables to one text per key, ``a.b``; entries of lists go by their names.

    Examples
    --------
    >>> flat({"filter": {"cell": 0.5}, "adjusted": True})
    {'filter.cell': '0.5', 'adjusted': 'true'}
    """
    if isinstance(value, Mapping):
        found: dict[str, str] = {}
        for key, item in value.items():
            found |= flat(item, f"{name}.{key}" if name else str(key))
        return found
    if isinstance(value, Sequence) and not isinstance(value, str):
        last = name.rpartition(".")[2]
        if value and all(isinstance(item, Mapping) for item in value):
            keys = _entry_names(last, value)
            found = {}
            for key, item in zip(keys, value, strict=True):
                found |= flat(item, f"{name}[{key}]")
            return found
        if last in _SETS:
            value = sorted(value, key=str)
    return {name: json.dumps(value, ensure_ascii=False)}


def _entry_names(last: str, entries: Sequence[Mapping[str, Any]]) -> list[str]:
    by = _NAMED_BY.get(last, ())
    names = [", ".join(str(entry.get(key)) for key in by) for entry in entries]
    return names if by and len(set(names)) == len(names) else [str(i) for i in range(len(entries))]


def _differences(
    before: Mapping[str, str], after: Mapping[str, str], area: Area, run: int
) -> Iterator[Change]:
    for key in [*before, *(key for key in after if key not in before)]:
        old, new = before.get(key), after.get(key)
        if old != new:
            kind = "added" if old is None else "removed" if new is None else "changed"
            yield Change(run, area, key, kind, old, new)  # type: ignore[arg-type]  # one of three words


def _processing(before: Result, after: Result, run: int) -> Iterator[Change]:
    old, new = (flat(result.job.get("processing", {})) for result in (before, after))
    yield from _differences(old, new, "processing", run)


def _job(before: Result, after: Result, run: int) -> Iterator[Change]:
    old, new = (
        flat({key: item for key, item in result.job.items() if key != "processing"})
        for result in (before, after)
    )
    yield from _differences(old, new, "job", run)


def _inputs(before: Sequence[InputFile], after: Sequence[InputFile], run: int) -> Iterator[Change]:
    """Pair files by content; what is left over by path. The job file is told key by key elsewhere."""
    old = sorted((f for f in before if f.role != "job"), key=lambda f: (f.role, f.path))
    new = sorted((f for f in after if f.role != "job"), key=lambda f: (f.role, f.path))

    def pair(same: Any) -> Iterator[tuple[InputFile, InputFile]]:
        for one in list(old):
            other = next((f for f in new if f.role == one.role and same(one, f)), None)
            if other is not None:
                old.remove(one)
                new.remove(other)
                yield one, other

    list(pair(lambda a, b: a.sha256 == b.sha256 and a.path == b.path))  # the same: nothing to tell
    for one, other in pair(lambda a, b: a.sha256 == b.sha256):
        yield Change(run, "input", f"{one.role} {one.path}", "renamed", one.path, other.path)
    for one, other in pair(lambda a, b: a.path == b.path):
        what = f"{one.role} {one.path}"
        yield Change(run, "input", what, "changed", _content(one), _content(other))
    for one in old:
        yield Change(run, "input", f"{one.role} {one.path}", "removed", _content(one), None)
    for other in new:
        yield Change(run, "input", f"{other.role} {other.path}", "added", None, _content(other))


def _content(file: InputFile) -> str:
    return f"{file.bytes} bytes, SHA-256 {file.sha256}"


def _standards(before: Result, after: Result, run: int) -> Iterator[Change]:
    old, new = (
        {claim.standard: claim.title for dataset in result.datasets for claim in dataset.claims}
        for result in (before, after)
    )
    yield from _differences(old, new, "standard", run)


def _datasets(before: Result, after: Result, run: int) -> Iterator[Change]:
    def described(result: Result) -> dict[str, str]:
        return {
            f"{dataset.name}: {what}": str(value)
            for dataset in result.datasets
            for what, value in (
                ("reference system", dataset.wkt),
                ("height method", dataset.height_method),
                ("largest circumradius, m", dataset.max_circumradius_m),
                ("neighbourhood", dataset.neighbourhood),
            )
            if value is not None
        }

    yield from _differences(described(before), described(after), "dataset", run)


def _transformations(before: Result, after: Result, run: int) -> Iterator[Change]:
    old, new = (
        {way.dataset: _way(way) for way in result.transformations} for result in (before, after)
    )
    yield from _differences(old, new, "transformation", run)


def _way(way: Transformation) -> str:
    """Put a way between two frames into one text that tells all that could change a coordinate."""
    steps = [
        "; ".join(
            [step["what"], *(f"{k} {flat({k: v})}" for k, v in step.items() if k != "what" and v)]
        )
        for step in plain(way.steps)
    ]
    local = flat(way.local_grid) if way.local_grid else ""
    told = [
        f"{way.source} to {way.target}",
        f"horizontal {way.horizontal}, vertical {way.vertical}",
        *steps,
        *(f"not applied: {text}" for text in way.not_applied),
        *([f"epoch {way.epoch_year}"] if way.epoch_year else []),
        *([f"local grid {local}"] if local else []),
    ]
    return " | ".join(told)


def _versions(before: Result, after: Result, run: int) -> Iterator[Change]:
    old, new = (
        {
            "accuracy": result.run.tool_version,
            "Python": result.run.python,
            "PROJ": result.run.proj,
            "EPSG dataset": result.run.epsg,
            **dict(sorted(result.run.libraries.items())),
        }
        for result in (before, after)
    )
    yield from _differences(old, new, "version", run)
