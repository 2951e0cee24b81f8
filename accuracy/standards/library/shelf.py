"""Finding a standard by name or path, and checking a claim made on it."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Mapping
from dataclasses import replace
from importlib import resources
from pathlib import Path, PurePosixPath

from accuracy.errors import Problem, StandardsError
from accuracy.standards.library.likeness import mistaken_for
from accuracy.standards.library.reader import nearest
from accuracy.standards.library.reading import parse_standard
from accuracy.standards.library.records import UNITS, ClaimKey, Standard

#: Limits that nobody means, in metres; beyond them a statement would print hundreds of digits.
SMALLEST_LIMIT_M, LARGEST_LIMIT_M = 1e-6, 1e4


def _packaged() -> dict[str, str]:
    """Give id to file name of the packaged standards, in order."""
    names = (entry.name for entry in resources.files("accuracy.standards").iterdir())
    return {PurePosixPath(name).stem: name for name in sorted(names) if name.endswith(".toml")}


def load_standard(id_or_path: str, folder: Path | None = None) -> Standard:
    """Load a packaged standard by its id, or a client's own specification by its path.

    Parameters
    ----------
    id_or_path : str
        ``asprs-2024``, or the path of a TOML file.
    folder : Path, optional
        Where a relative path starts; the working folder if not given.

    Raises
    ------
    StandardsError
        No such standard, or mistakes in its file, all at once; or a client's file that could be taken for
        a packaged standard.
    """
    packaged = _packaged()
    if id_or_path in packaged:
        return _read_packaged(packaged[id_or_path])
    if not id_or_path.lower().endswith(".toml"):
        raise StandardsError(
            f"{id_or_path!r} is not a packaged standard",
            remedy=f"{nearest(id_or_path, list(packaged))}; or give the path of a .toml file",
        )
    path = (folder or Path()) / id_or_path
    try:
        content = path.read_bytes()
        text = content.decode("utf-8-sig")
    except OSError as error:
        raise StandardsError(
            f"cannot be read: {error.strerror}",
            where=str(path),
            remedy="check the path; relative paths start at the job file",
        ) from error
    except ValueError as error:  # not UTF-8, or a character no path can have
        raise StandardsError(
            "is not UTF-8 text", where=str(path), remedy="save the file as UTF-8"
        ) from error
    own = parse_standard(text, str(path))
    problems = mistaken_for(own, list_standards())
    if problems:
        raise StandardsError(
            "is not recognisable as a client's own specification",
            where=str(path),
            remedy="a file beside the job speaks for the client alone; claim a published standard by its id",
            problems=problems,
        )
    inside = folder is not None and path.is_relative_to(folder)
    written = (path.relative_to(folder) if folder and inside else path).as_posix()
    return replace(own, client_file=written, sha256=hashlib.sha256(content).hexdigest())


def _read_packaged(name: str) -> Standard:
    text = resources.files("accuracy.standards").joinpath(name).read_text("utf-8")
    return parse_standard(text, name)


def list_standards() -> tuple[Standard, ...]:
    """Load every packaged standard, in the order of their ids."""
    return tuple(map(_read_packaged, _packaged().values()))


def check_claim(
    standard: str, keys: Mapping[str, object], where: str, folder: Path | None = None
) -> list[Problem]:
    """Check the keys of a claim against the file of the standard it cites.

    Parameters
    ----------
    standard : str
        Packaged id or path.
    keys : mapping
        The claim's keys without ``dataset`` and ``standard``, as read.
    where : str
        Place of the claim in the job: ``claim[0]``.
    folder : Path, optional
        Where a relative path starts.

    Returns
    -------
    list of Problem
        Empty where the claim can be judged.
    """
    try:
        its = load_standard(standard, folder)
    except StandardsError as error:
        if error.problems:
            file = error.where or standard
            return [Problem(f"{file}: {p.where}", p.found, p.allowed) for p in error.problems]
        found = f"{error.where}: {error.message}" if error.where else error.message
        return [Problem(f"{where}.standard", found, error.remedy or "")]
    known = {key.name: key for key in its.claim_keys}
    problems = []
    for name, value in keys.items():
        place = f"{where}.{name}"
        if name not in known:
            allowed = (
                nearest(name, list(known)) if known else "the document has no classes or limits"
            )
            problems.append(Problem(place, f"is not a key of {its.id}", allowed))
        elif mistake := _mistake(known[name], value):
            problems.append(Problem(place, f"{value!r} found", mistake))
    problems += [
        Problem(where, f"{key.name} is missing", f"{its.id} wants it: {key.meaning}")
        for key in its.claim_keys
        if key.required and key.name not in keys
    ]
    if its.class_required and not any(name in known for name in keys) and not problems:
        problems.append(
            Problem(where, "claims no class or limit", f"give at least one of {', '.join(known)}")
        )
    return problems


def _mistake(key: ClaimKey, value: object) -> str | None:
    if key.kind == "choice":
        return None if value in key.choices else f"give one of {', '.join(key.choices)}"
    number = float(str(value)) if type(value) in (int, float) else math.nan
    if not (math.isfinite(number) and number > 0):
        return f"give a finite number above 0: {key.meaning}"
    per_unit = float(UNITS[key.unit or "m"])
    if SMALLEST_LIMIT_M <= number * per_unit <= LARGEST_LIMIT_M:
        return None
    smallest, largest = (
        round(limit / per_unit, 9) for limit in (SMALLEST_LIMIT_M, LARGEST_LIMIT_M)
    )
    return f"give a number from {smallest:g} to {largest:g}: {key.meaning}"
