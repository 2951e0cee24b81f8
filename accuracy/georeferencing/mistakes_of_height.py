"""Mistakes in height: another geoid model, and heights of the other kind. Only grids on the shelf are read."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from accuracy.errors import ReferenceSystemError
from accuracy.georeferencing.crs import datum_name
from accuracy.georeferencing.geodetic import Points
from accuracy.georeferencing.geoids import same_geoid
from accuracy.georeferencing.grids import MODELS, GridShelf
from accuracy.georeferencing.heights import undulations
from accuracy.georeferencing.mistakes import Mistake, SidePoint


def geoids(sides: Sequence[SidePoint], shelf: GridShelf) -> Iterator[Mistake]:
    """Heights formed from the same ellipsoidal height by another model."""
    told: list[tuple[str | None, str | None]] = []
    for side in sides:
        ref = side.reference
        datum = datum_name(ref.vertical_wkt)
        if ref.vertical_kind != "orthometric" or (ref.geoid, datum) in told:
            continue
        told.append((ref.geoid, datum))
        if ref.geoid is None:
            here = [
                f"{model} {value_m:+.4f} m"
                for model in _models(shelf)
                for value_m, _ in [undulation_of(shelf, model, side.points)]
                if value_m is not None
            ]
            why = "not known: the geoid model is not named"
            why += f" (N here: {', '.join(here)})" if here else ""
            yield Mistake("geoid", f"{side.who}: another geoid model behind {datum}", why_not=why)
            continue
        right_m, right_file = undulation_of(shelf, ref.geoid, side.points)
        for model in _models(shelf):
            serves = any(datum in known.datums for known in MODELS if known.name == model)
            wrong_m, wrong_file = undulation_of(shelf, model, side.points)
            if same_geoid(model, ref.geoid) or (wrong_m is None and not serves):
                continue
            what = f"{side.who}: {model} in the place of {ref.geoid}"
            if right_m is None or wrong_m is None:
                why = f"{ref.geoid}: {right_file}" if right_m is None else wrong_file
                yield Mistake("geoid", what, why_not=f"not known: {why}")
                continue
            how = f"N of {right_file} ({right_m:+.4f} m) minus N of {wrong_file} ({wrong_m:+.4f} m)"
            yield Mistake("geoid", what, 0.0, 0.0, right_m - wrong_m, how=how)
    if not told:
        why = "does not apply: no side holds heights above a vertical datum"
        yield Mistake("geoid", "another geoid model", why_not=why)


def height_kinds(sides: Sequence[SidePoint], shelf: GridShelf) -> Iterator[Mistake]:
    """Ellipsoidal heights taken for orthometric ones, or the other way round: N at the place."""
    told: list[str] = []
    for side in sides:
        kind = side.reference.vertical_kind
        if kind not in ("ellipsoidal", "orthometric") or kind in told:
            continue
        told.append(kind)
        other = "orthometric" if kind == "ellipsoidal" else "ellipsoidal"
        what = f"{side.who}: {kind} heights taken for {other} ones"
        n_m, file = any_undulation(side, sides, shelf)
        if n_m is None:
            yield Mistake("height-kind", what, why_not=f"not known: {file}")
            continue
        up_m = n_m if kind == "ellipsoidal" else -n_m
        how = f"h = H + N, N = {n_m:+.4f} m ({file})"
        yield Mistake("height-kind", what, 0.0, 0.0, up_m, how=how)
    if not told:
        why = "not known: no side says what its heights refer to"
        yield Mistake("height-kind", "ellipsoidal heights taken for orthometric ones", why_not=why)


def any_undulation(
    side: SidePoint, sides: Sequence[SidePoint], shelf: GridShelf
) -> tuple[float | None, str]:
    """Give N by the side's own model, by that of the other side, or by any on the shelf."""
    points = side.points
    if points is None:
        return None, "where the point lies is not known"
    named = [other.reference.geoid for other in (side, *sides) if other.reference.geoid]
    refused = []
    for model in dict.fromkeys([*named, *_models(shelf)]):
        value_m, file = undulation_of(shelf, model, points)
        if value_m is not None:
            return value_m, f"{model}, {file}"
        if model in named:
            refused.append(f"{model}: {file}")
    return None, "; ".join(refused) or "no grid here"


def undulation_of(shelf: GridShelf, model: str, points: Points | None) -> tuple[float | None, str]:
    """Give N by a model and the name of the file; or None and why not."""
    if points is None:
        return None, "where the point lies is not known"
    found = shelf.find(model)
    if not found:
        names = " or ".join(shelf.names(model)[:3]) or "its file, named by geoid_files"
        return None, f"grid not here ({names})"
    for path in found:
        try:
            values = undulations(path, points.lon_deg, points.lat_deg)
        except ReferenceSystemError as error:
            return None, f"{path.name}: {error.message}"
        if values.complete:
            return float(values.n_m[0]), path.name
    return None, f"no value here in {', '.join(path.name for path in found)}"


def _models(shelf: GridShelf) -> list[str]:
    """Name all models that this tool or the job knows."""
    known = [model.name for model in MODELS]
    return known + [n for n in shelf.files if not any(same_geoid(n, other) for other in known)]
