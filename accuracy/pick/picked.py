"""What was picked on the page, as a table of measured points with its repeatability."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from accuracy.errors import InputError
from accuracy.pick.page import PICKS_FORMAT
from accuracy.reports.words import printable

#: How many times the repeatability two passes may differ at a point before it is told. No source.
FAR_APART = 3.0

_REMEDY = "hand in the file that the page of accuracy pick saved"
_LARGEST = 20_000_000


@dataclass(frozen=True)
class Pick:
    """One picture judged: where the centre is (stored coordinates), or that it cannot be told."""

    id: str
    source: str
    number: int
    place: tuple[float, float] | None
    metres: tuple[float, float]


@dataclass(frozen=True)
class Picks:
    """All pictures judged, by whom, in which systems."""

    operator: str
    saved: str
    systems: Mapping[str, str]
    picks: tuple[Pick, ...]


@dataclass(frozen=True)
class PickedTable:
    """The table of one source.

    Attributes
    ----------
    source, file : str
        Orthophoto or cloud, and the name for its table.
    text : str
        CSV with comments at its head.
    points : int
        Rows.
    sigma_m : float or None
        Repeatability of one pick along an axis; None without two passes of two points.
    degrees_of_freedom : int
        Behind it.
    told : tuple of str
        What the operator must know: points left out, passes that differ.
    """

    source: str
    file: str
    text: str
    points: int
    sigma_m: float | None
    degrees_of_freedom: int
    told: tuple[str, ...]


def read_picks(path: Path, known: Iterable[str]) -> Picks:
    """Read what the page saved.

    Parameters
    ----------
    known : iterable of str
        Ids of the job's points.

    Raises
    ------
    InputError
        Another file, damaged, or of points that the job does not have.
    """
    where = str(path)
    try:
        if path.stat().st_size > _LARGEST:
            raise InputError("is too large for a file of picks", where=where, remedy=_REMEDY)
        data = json.loads(path.read_text("utf-8"))
    except OSError as error:
        raise InputError(
            f"cannot be read: {error.strerror}", where=where, remedy=_REMEDY
        ) from error
    except (ValueError, RecursionError) as error:
        raise InputError("is not JSON", where=where, remedy=_REMEDY) from error
    if not isinstance(data, dict) or data.get("format") != PICKS_FORMAT:
        raise InputError("is no file of picks", where=where, remedy=_REMEDY)
    try:
        picks = tuple(_pick(one) for one in data["picks"])
        found = Picks(
            operator=str(data["operator"]).strip(),
            saved=str(data["saved"]),
            systems={str(k): str(v) for k, v in data["systems"].items()},
            picks=picks,
        )
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise InputError(f"is damaged: {error!r}", where=where, remedy=_REMEDY) from error
    strangers = sorted({pick.id for pick in picks} - set(known))
    if strangers:
        raise InputError(
            f"names points that the job does not have: {', '.join(strangers[:5])}",
            where=where,
            remedy="use the job that the page was made from",
        )
    seen = set()
    for pick in picks:
        key = (pick.id, pick.source, pick.number)
        if key in seen:
            raise InputError(f"holds {pick.id} twice in one pass", where=where, remedy=_REMEDY)
        seen.add(key)
    if not found.operator:
        raise InputError("does not say who picked", where=where, remedy="enter a name on the page")
    return found


def _pick(one: Mapping[str, Any]) -> Pick:
    metres = (float(one["metres"][0]), float(one["metres"][1]))
    place = None
    if one["state"] == "picked":
        a, b, c, d, e, f = (float(v) for v in one["transform"])
        col, row = float(one["col"]), float(one["row"])
        place = (a * col + b * row + c, d * col + e * row + f)
        if not all(map(math.isfinite, (*place, *metres))):
            raise ValueError("a number is not finite")
    elif one["state"] != "not-identifiable":
        raise ValueError(f"state {one['state']!r}")
    return Pick(str(one["id"]), str(one["source"]), int(one["pass"]), place, metres)


def tables_of(picks: Picks) -> tuple[PickedTable, ...]:
    """Make a table for each source: the mean of the passes, with the repeatability as its sigma.

    From the differences d of two passes along an axis, n points: s = sqrt(sum d^2 / 2n) is the standard
    deviation of one pick (differences of two observations of equal accuracy; any textbook). The mean of two has
    s / sqrt(2).
    """
    sources = list(dict.fromkeys(pick.source for pick in picks.picks))
    return tuple(_table(source, number, picks) for number, source in enumerate(sources, 1))


def _table(source: str, number: int, picks: Picks) -> PickedTable:
    by_point: dict[str, list[Pick]] = {}
    for pick in picks.picks:
        if pick.source == source:
            by_point.setdefault(pick.id, []).append(pick)
    unseen = [id_ for id_, its in by_point.items() if any(pick.place is None for pick in its)]
    kept = {id_: its for id_, its in by_point.items() if id_ not in unseen}
    differences_m = {
        id_: (
            (its[1].place[0] - its[0].place[0]) * its[0].metres[0],
            (its[1].place[1] - its[0].place[1]) * its[0].metres[1],
        )
        for id_, its in kept.items()
        if len(its) == 2 and its[0].place is not None and its[1].place is not None
    }
    n = len(differences_m)
    sigma = [
        math.sqrt(math.fsum(d[axis] ** 2 for d in differences_m.values()) / (2 * n))
        if n > 1
        else None
        for axis in (0, 1)
    ]
    told = []
    if unseen:
        told.append(f"not identifiable, left out: {', '.join(map(printable, unseen))}")
    single = [id_ for id_, its in kept.items() if len(its) == 1]
    if single:
        told.append(f"picked once only: {', '.join(map(printable, single))}")
    if n <= 1:
        told.append("no repeatability: fewer than two points were picked twice")
    far = [
        (id_, math.hypot(*d))
        for id_, d in differences_m.items()
        if sigma[0] is not None and sigma[1] is not None
        # sqrt(2): of a difference of two picks
        if math.hypot(*d) > FAR_APART * math.sqrt(2.0) * math.hypot(sigma[0], sigma[1])
    ]
    told += [f"{printable(id_)}: the two passes differ by {size_m:.4f} m" for id_, size_m in far]
    lines = [
        "# accuracy pick: centres picked by hand; mean of the passes, repeatability as sigma",
        f"# picked by {_comment(picks.operator)}, saved {_comment(picks.saved)}, in {_comment(source)}",
        f"# reference system: {_comment(picks.systems.get(source, 'unknown'))}",
        "id,easting,northing,sigma_east_m,sigma_north_m,picks,difference_m",
    ]
    for id_, its in kept.items():
        places = [pick.place for pick in its if pick.place is not None]
        mean = [
            places[0][i] + math.fsum(p[i] - places[0][i] for p in places) / len(places)
            for i in (0, 1)
        ]
        digits = 4 if its[0].metres[0] < 100 else 10  # degrees
        of_mean = ["" if s is None else f"{s / math.sqrt(len(places)):.5f}" for s in sigma]
        between = f"{math.hypot(*differences_m[id_]):.5f}" if id_ in differences_m else ""
        cells = [
            _quoted(id_),
            *(f"{v:.{digits}f}" for v in mean),
            *of_mean,
            str(len(places)),
            between,
        ]
        lines.append(",".join(cells))
    one = None
    if sigma[0] is not None and sigma[1] is not None:
        one = math.sqrt((sigma[0] ** 2 + sigma[1] ** 2) / 2)
    slug = re.sub(r"[^a-z0-9]+", "-", source.lower()).strip("-") or f"source-{number}"
    return PickedTable(
        source, f"picked-{slug}.csv", "\n".join(lines) + "\n", len(kept), one, n, tuple(told)
    )


def _comment(text: str) -> str:
    return " ".join(printable(text).split())


def _quoted(text: str) -> str:
    return '"' + text.replace('"', '""') + '"' if re.search(r'[",\n#]|^\s|\s$', text) else text
