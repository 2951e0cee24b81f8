"""Pictures of the targets of a job: cut out of orthophotos, and made of the intensities of clouds."""

from __future__ import annotations

import math
import zlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from accuracy.deliverables import Deliverable, columns
from accuracy.errors import UsageError
from accuracy.formats.colour_png import write_png
from accuracy.formats.colour_window import ColourPicture, Transform, open_colour, stretched
from accuracy.formats.las_intensity import intensities_near
from accuracy.georeferencing.grids import GridShelf
from accuracy.georeferencing.record import Reference
from accuracy.georeferencing.reference import interpret
from accuracy.georeferencing.site_plan import plan_on_site
from accuracy.georeferencing.transform import Places
from accuracy.inputs.checkpoints import Checkpoint
from accuracy.preparation import Prepared

Floats = NDArray[np.float64]

#: Half the side of a picture, metres.
HALF_WIDTH_M = 1.5

#: How far the middle of a picture may be off the surveyed place, as a share of half its side.
MOST_OFF = 0.6

#: Passes over all targets.
PASSES = 2

#: Pixels of a picture of intensities to one mean spacing of the points, and their smallest size.
PIXELS_A_SPACING, LEAST_PIXEL_M = 3.0, 0.005

#: Largest picture, pixels a side: beyond it, pixels of an orthophoto would be of a few millimetres.
MOST_PIXELS = 1200


@dataclass(frozen=True)
class Scene:
    """One picture of one target in one pass.

    Attributes
    ----------
    id : str
        Of the point.
    source : str
        The orthophoto or cloud.
    kind : {"orthophoto", "intensity"}
        What it shows.
    number : int
        Pass, from 1.
    png : bytes
        The picture.
    cols, rows : int
        Its size.
    transform : tuple of float
        From column and row (integers are corners) to stored coordinates of the source.
    metres : tuple of float
        Metres per stored unit, along x and y.
    """

    id: str
    source: str
    kind: str
    number: int
    png: bytes
    cols: int
    rows: int
    transform: Transform
    metres: tuple[float, float]


@dataclass(frozen=True)
class Made:
    """Scenes in the order of their passes, the system of each source, and who has no picture and why."""

    scenes: tuple[Scene, ...]
    systems: dict[str, str]
    without: tuple[str, ...]


def make_scenes(
    prepared: Prepared,
    orthophotos: Sequence[Path],
    *,
    clouds: bool = True,
    half_width_m: float = HALF_WIDTH_M,
    seed: int | None = None,
    progress: Callable[[str], None] = lambda _: None,
) -> Made:
    """Make the pictures of all targets.

    Parameters
    ----------
    prepared : Prepared
        The job.
    orthophotos : sequence of Path
        Georeferenced pictures; those that hold a target show it.
    clouds : bool
        Whether the clouds of the job are shown by their intensities.
    seed : int, optional
        Decides cuts and order; None takes a new one that is not kept, so that nobody can work back from it.

    Raises
    ------
    UsageError
        Nothing shows any target.
    FormatError, ReferenceSystemError
        A file cannot be used.
    """
    if seed is None:
        import secrets

        seed = secrets.randbits(64)
    points = [
        point
        for point in prepared.table.points
        if point.tested != "vertical" and prepared.roles.role(point.id) != "excluded"
    ]
    scenes: list[Scene] = []
    systems: dict[str, str] = {}
    pictures = [(path, open_colour(path)) for path in orthophotos]
    for path, picture in pictures:
        progress(f"cutting targets out of {path.name}")
        reference, x, y = _carried_to_picture(prepared, picture, points)
        systems[path.name] = reference.name
        for point, px, py in zip(points, x.tolist(), y.tolist(), strict=True):
            metres = _metres_of(reference, py)
            for number in range(1, PASSES + 1):
                off = _off(seed, point.id, path.name, number) * MOST_OFF * half_width_m
                scene = _cut(picture, point.id, number, (px, py), off, half_width_m, metres)
                scenes += [scene] if scene else []
    if clouds:
        for item in prepared.deliverables:
            unit = item.reference.horizontal_unit
            if item.clouds and unit is not None and item.reference.horizontal_kind == "projected":
                progress(f"{item.setting.name}: reading intensities")
                systems[item.setting.name] = item.reference.name
                scenes += _of_cloud(item, points, seed, half_width_m, float(unit.metres))
    shown = {scene.id for scene in scenes}
    if not scenes:
        raise UsageError(
            "no picture shows any target",
            where=str(prepared.job.path),
            remedy="name orthophotos of the site with --orthophoto, or clouds with intensities in the job",
        )
    return Made(
        tuple(_shuffled(scenes, seed)),
        systems,
        tuple(point.id for point in points if point.id not in shown),
    )


def _off(seed: int, id_: str, source: str, number: int) -> Floats:
    """Give by chance how far a picture is cut off its place, -1 to 1 along both axes."""
    return _random(seed, f"{number}/{source}/{id_}").uniform(-1.0, 1.0, 2)


def _random(seed: int, text: str) -> np.random.Generator:
    return np.random.default_rng([seed, zlib.crc32(text.encode("utf-8", "replace"))])


def _shuffled(scenes: Sequence[Scene], seed: int) -> Iterator[Scene]:
    """Put the scenes of each pass in an order of their own."""
    for number in range(1, PASSES + 1):
        mine = [scene for scene in scenes if scene.number == number]
        order = _random(seed, f"order {number}").permutation(len(mine))
        yield from (mine[i] for i in order.tolist())


def _carried_to_picture(
    prepared: Prepared, picture: ColourPicture, points: Sequence[Checkpoint]
) -> tuple[Reference, Floats, Floats]:
    job = prepared.job
    reference, _ = interpret(picture.crs_evidence)
    if job.local_grid is not None:
        raise UsageError(
            "orthophotos of jobs in a local grid cannot be shown",
            where=str(job.path),
            remedy="make a job whose checkpoints are in the system of the orthophoto",
        )
    easting, northing, height = columns(points)
    way = plan_on_site(
        prepared.surveyed,
        reference,
        local=None,
        source_local=False,
        target_local=False,
        dataset_name=picture.path.name,
        places=Places(
            tuple(p.id for p in points), easting, northing, height, np.ones(len(points), bool)
        ),
        grids=GridShelf(job.grids.folders(job.folder), job.grids.geoid_files),
    )
    if way.horizontal not in ("identity", "transformed"):
        raise UsageError(
            f"is in {reference.name}, and the checkpoints in {prepared.surveyed.name} cannot be carried there",
            where=str(picture.path),
            remedy="hand in the orthophoto in the system of the checkpoints",
        )
    if way.carries:
        easting, northing, _ = way.apply(easting, northing, height)
    return reference, easting, northing


def _metres_of(reference: Reference, y: float) -> tuple[float, float]:
    """Give metres per stored unit along x and y; degrees by the sphere, for showing and for sigma only."""
    unit = reference.horizontal_unit
    if unit is not None and reference.horizontal_kind != "geographic":
        return float(unit.metres), float(unit.metres)
    degree_m = 111_320.0
    return degree_m * math.cos(math.radians(y)), degree_m


def _cut(
    picture: ColourPicture,
    id_: str,
    number: int,
    at: tuple[float, float],
    off_m: Floats,
    half_width_m: float,
    metres: tuple[float, float],
) -> Scene | None:
    """Cut a square out of a picture; None where it does not lie wholly inside, or holds nothing."""
    a, b, c, d, e, f = picture.transform
    x, y = at[0] + off_m[0] / metres[0], at[1] + off_m[1] / metres[1]
    area = a * e - b * d
    col = (e * (x - c) - b * (y - f)) / area
    row = (a * (y - f) - d * (x - c)) / area
    pixel_m = math.hypot(a * metres[0], d * metres[1])
    half = max(4, round(half_width_m / pixel_m))
    if not (math.isfinite(col) and math.isfinite(row)) or 2 * half > MOST_PIXELS:
        return None
    col0, row0 = round(col) - half, round(row) - half
    rows, cols = picture.shape
    if col0 < 0 or row0 < 0 or col0 + 2 * half > cols or row0 + 2 * half > rows:
        return None
    pixels = picture.window(row0, col0, 2 * half, 2 * half)
    if pixels.min() == pixels.max():
        return None
    transform = (a, b, c + a * col0 + b * row0, d, e, f + d * col0 + e * row0)
    name = picture.path.name
    png = write_png(pixels)
    return Scene(id_, name, "orthophoto", number, png, 2 * half, 2 * half, transform, metres)


def _of_cloud(
    item: Deliverable,
    points: Sequence[Checkpoint],
    seed: int,
    half_width_m: float,
    metres: float,
) -> Iterator[Scene]:
    x, y, height = columns(points)
    if item.plan.horizontal not in ("identity", "transformed"):
        return
    if item.plan.carries:
        x, y, _ = item.plan.apply(x, y, height)
    reach = half_width_m * (1.0 + MOST_OFF) / metres
    gathered: list[list[Floats]] = [[] for _ in points]
    for cloud in item.clouds:
        for place, its in enumerate(intensities_near(cloud.info.path, x, y, reach)):
            gathered[place].append(its)
    for point, px, py, parts in zip(points, x.tolist(), y.tolist(), gathered, strict=True):
        near = np.concatenate(parts)
        if len(near) < 30 or near[:, 2].min() == near[:, 2].max():
            continue
        for number in range(1, PASSES + 1):
            off = _off(seed, point.id, item.setting.name, number) * MOST_OFF * half_width_m
            yield _intensity_scene(
                item.setting.name, point.id, number, (px, py), near, off, half_width_m, metres
            )


def _intensity_scene(
    source: str,
    id_: str,
    number: int,
    at: tuple[float, float],
    near: Floats,
    off_m: Floats,
    half_width_m: float,
    metres: float,
) -> Scene:
    """Draw intensities: each pixel by the points nearest to it, the nearer the more."""
    from scipy.spatial import cKDTree

    places_m, intensity = near[:, :2] * metres, near[:, 2]
    side_m = 2.0 * half_width_m * (1.0 + MOST_OFF)
    spacing_m = side_m / math.sqrt(len(near))
    pixel_m = max(LEAST_PIXEL_M, spacing_m / PIXELS_A_SPACING, 2.0 * half_width_m / MOST_PIXELS)
    size = max(8, round(2.0 * half_width_m / pixel_m))
    centre = (np.arange(size) + 0.5) * pixel_m - half_width_m
    east, north = np.meshgrid(centre + off_m[0], -centre + off_m[1])
    count = min(4, len(near))
    found, index = cKDTree(places_m).query(np.column_stack([east.ravel(), north.ravel()]), count)
    distance_m = np.asarray(found)
    weight = 1.0 / (distance_m + 0.2 * spacing_m) ** 2
    values = (weight * intensity[index]).sum(axis=1) / weight.sum(axis=1)
    values[distance_m[:, 0] > 4.0 * spacing_m] = np.nan
    pixels = stretched(values.reshape(size, size))
    pixel = pixel_m / metres
    transform = (
        pixel,
        0.0,
        at[0] + (off_m[0] - half_width_m) / metres,
        0.0,
        -pixel,
        at[1] + (off_m[1] + half_width_m) / metres,
    )
    return Scene(
        id_, source, "intensity", number, write_png(pixels), size, size, transform, (metres, metres)
    )
