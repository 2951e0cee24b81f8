"""The analysis of flight lines: one streamed pass over the points, then block by block over their sums."""

from __future__ import annotations

import math
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial, reduce
from pathlib import Path
from typing import Protocol, cast

import numpy as np

from accuracy.errors import FormatError, UsageError
from accuracy.flightlines.blocks import Blocks
from accuracy.flightlines.collecting import Collecting, Collector
from accuracy.flightlines.comparing import Comparison, swaths_of
from accuracy.flightlines.covering import Coverer, Covering
from accuracy.flightlines.lattice import Lattice, lattice_of, literal_cells
from accuracy.flightlines.occupancy import Occupancy
from accuracy.flightlines.records import (
    Coverage,
    FileOrder,
    LineRecord,
    LinesRecord,
    LinesSettings,
    PairRecord,
)
from accuracy.flightlines.stretches import Stretches, Told, counts_of, stretches_of, tell_lines
from accuracy.flightlines.swaths import Swath
from accuracy.flightlines.telling import findings_of
from accuracy.flightlines.voids import Gaps, Place, gaps_of, largest
from accuracy.formats import PointSurface, open_cloud
from accuracy.formats.scanning import R, Scannable, reduce_points

#: Voids that the record holds one by one.
MOST_VOIDS = 1000


class Reading(Protocol):
    """Shows all points of files to reducers and merges these; `accuracy.parallel.Workers.reduce` is one."""

    def __call__(
        self, paths: Sequence[Path], make: Callable[[], R], progress: Callable[[str], None]
    ) -> R:
        """Give the merged reducer."""
        ...


def analyse_lines(
    clouds: Sequence[PointSurface],
    settings: LinesSettings,
    progress: Callable[[str], None] = lambda _: None,
    reading: Reading | None = None,
) -> LinesRecord:
    """Compare the flight lines of a cloud of one or many files.

    Parameters
    ----------
    clouds : sequence of PointSurface
        Opened by their headers, in one frame.
    settings : LinesSettings
        Units of the files among it.
    progress : callable
        Told what is being done.
    reading : Reading, optional
        Passes over files; one after the other in this process if not given.

    Returns
    -------
    LinesRecord
        The same whatever the tiling of the files and the number of workers, but for `order`.

    Raises
    ------
    FormatError
        Points cannot be read, or there are none.
    UsageError
        Settings that make no sense.
    """
    holding = [cloud for cloud in clouds if cloud.info.points]
    if not holding:
        raise FormatError(
            "there are no points",
            where=", ".join(str(cloud.info.path) for cloud in clouds) or None,
            remedy="hand in the files of the point cloud",
        )
    lattice = lattice_of(holding, settings)
    if settings.folder is not None and not Path(settings.folder).is_dir():
        raise UsageError(
            f"{settings.folder} is no folder",
            remedy="give an existing folder for intermediate tables, or none",
        )
    with tempfile.TemporaryDirectory(prefix="lines-", dir=settings.folder) as folder:
        analysis = _Analysis(
            holding, settings, progress, reading or reduce_in_turn, lattice, Path(folder)
        )
        return analysis.record()


def reduce_in_turn(
    paths: Sequence[Path], make: Callable[[], R], progress: Callable[[str], None]
) -> R:
    """Pass over files one after the other; implements `Reading`.

    Raises
    ------
    FormatError
        Points cannot be read.
    """
    found: list[R] = []
    for number, path in enumerate(paths, start=1):
        one = reduce_points(cast(Scannable, open_cloud(path)), make())
        found = [reduce(lambda a, b: a.merged(b), [*found, one])]
        progress(f"{path.name} ({number} of {len(paths)} files)")
    return found[0]


class _Analysis:
    """The stages, in order."""

    def __init__(
        self,
        clouds: Sequence[PointSurface],
        settings: LinesSettings,
        progress: Callable[[str], None],
        reading: Reading,
        lattice: Lattice,
        folder: Path,
    ) -> None:
        self._settings, self._progress, self._reading = settings, progress, reading
        self._lattice, self._folder = lattice, folder
        self._paths = [cloud.info.path for cloud in clouds]

    def record(self) -> LinesRecord:
        """Go through all stages."""
        settings, lattice = self._settings, self._lattice
        anps = settings.design_anps_m
        told_to = Collecting(
            lattice,
            settings.noise_classes,
            settings.left_out_classes,
            self._folder,
            None if anps is None else anps / lattice.horizontal_m,
        )
        found = self._reading(self._paths, partial(Collector, told_to), self._progress)
        found.settle()
        stretches = stretches_of(found.stretches)
        told = tell_lines(stretches, settings.spans, lattice.cell_m)
        self._progress("comparing flight lines")
        blocks = Blocks(found.cells, stretches, told, lattice)
        swaths = swaths_of(blocks, lattice, settings)
        literal = literal_cells(lattice, anps)
        comparison = Comparison(blocks, swaths, lattice, settings, literal)
        comparison.run()
        origin = (blocks.west * lattice.cell_m, blocks.south * lattice.cell_m)
        coverage, gaps = self._coverage(found, stretches, told, swaths, comparison, origin)
        lines = tuple(
            self._line(at, stretches, told, swaths, comparison, gaps, origin)
            for at in range(len(told.passes))
        )
        pairs = self._pairs(told, swaths, comparison, origin, blocks)
        order = tuple(
            FileOrder(
                name=path.name,
                points=watch.points,
                steps_back=watch.steps_back,
                largest_back_s=watch.largest_back_s,
                returns_out_of_order=watch.returns_back,
                untimed=watch.untimed,
            )
            for path, watch in zip(self._paths, found.orders, strict=True)
        )
        untimed = sum(one.untimed for one in order)
        duplicates = found.repeats.duplicates()
        sums = stretches.sums.sum(axis=0)
        n = comparison.spread.n
        return LinesRecord(
            cell_m=lattice.cell_m,
            literal_cell_m=None if literal is None else literal * lattice.cell_m,
            horizontal_unit_m=lattice.horizontal_m,
            vertical_unit_m=lattice.vertical_m,
            points=int(sums[0]),
            withheld=int(sums[2]),
            noise=int(sums[3]),
            untimed=untimed,
            classes={int(c): int(found.classes[c]) for c in np.flatnonzero(found.classes)},
            how=told.how,
            lines=lines,
            stray=told.stray,
            pairs=pairs,
            differences=comparison.spread.differences(),
            expected_rmsd_m=math.sqrt(comparison.expected / n) if n else None,
            plain=comparison.plain.differences(),
            trends=comparison.site.trends(),
            within=comparison.within.parts(),
            coverage=coverage,
            duplicates=duplicates,
            order=order,
            gaps=told.gaps,
            findings=findings_of(
                told,
                pairs,
                coverage,
                duplicates,
                order,
                settings,
                literal=literal is not None,
                alone=blocks.alone,
                untimed=untimed,
            ),
            grids=None if comparison.grids is None else comparison.grids.grids,
        )

    def _coverage(
        self,
        found: Collector,
        stretches: Stretches,
        told: Told,
        swaths: dict[int, Swath],
        comparison: Comparison,
        origin: tuple[float, float],
    ) -> tuple[Coverage, dict[int, Gaps]]:
        lattice, settings = self._lattice, self._settings
        area = lattice.cell_m**2
        first = sum(sums.first for sums in comparison.lines.values())
        cells = sum(sums.cells for sums in comparison.lines.values())
        density = first / (cells * area) if cells and first else None
        anps_m = settings.design_anps_m
        if anps_m is None and density is not None:
            anps_m = 1.0 / math.sqrt(density)
        gaps: dict[int, Gaps] = {}
        if anps_m is not None:
            occupancy, labels = self._occupancy(found, stretches, told, anps_m)
            place = Place(anps_m, *origin, lattice.horizontal_m)
            every = frozenset().union(*labels.values())
            for at, swath in swaths.items():
                gaps[at] = gaps_of(
                    occupancy, labels[at], every - labels[at], swath, place, told.passes[at].number
                )
        voids = [void for one in gaps.values() for void in one.voids]
        doubles = sum(one.cells for one in gaps.values())
        covered_m2 = comparison.covered * area
        coverage = Coverage(
            anps_m=anps_m,
            anps_designed=settings.design_anps_m is not None,
            density_per_m2=comparison.first / covered_m2 if covered_m2 else None,
            covered_m2=covered_m2,
            line_density_per_m2=density,
            line_spacing_m=None if density is None else 1.0 / math.sqrt(density),
            void_limit_m2=None if anps_m is None else (4.0 * anps_m) ** 2,
            voids=largest(voids, MOST_VOIDS),
            voids_found=len(voids),
            voids_unfilled=sum(not void.filled for void in voids),
            distribution=sum(one.filled for one in gaps.values()) / doubles if doubles else None,
            distribution_cells=doubles,
        )
        return coverage, gaps

    def _occupancy(
        self, found: Collector, stretches: Stretches, told: Told, anps_m: float
    ) -> tuple[Occupancy, dict[int, frozenset[int]]]:
        """Give the occupancy and the labels of each line; by a pass of its own where ids do not do."""
        by_id = not told.together and not told.split
        if found.occupancy is not None and by_id:
            return found.occupancy, {
                at: frozenset({one.source}) for at, one in enumerate(told.passes)
            }
        self._progress("looking for gaps")
        covering = Covering(
            self._lattice,
            self._settings.noise_classes,
            self._folder,
            anps_m / self._lattice.horizontal_m,
            stretches.segment,
            told.line,
        )
        coverer = self._reading(self._paths, partial(Coverer, covering), self._progress)
        return coverer.occupancy, {at: frozenset({at}) for at in range(len(told.passes))}

    def _line(
        self,
        at: int,
        stretches: Stretches,
        told: Told,
        swaths: dict[int, Swath],
        comparison: Comparison,
        gaps: dict[int, Gaps],
        origin: tuple[float, float],
    ) -> LineRecord:
        one, swath = told.passes[at], swaths.get(at)
        points, first, withheld, noise = counts_of(stretches, one)
        index = np.array(one.stretches)
        timed = index[stretches.timed[index]]
        base = LineRecord(
            number=one.number,
            source_id=one.source,
            how=one.how,
            points=points,
            first_returns=first,
            withheld=withheld,
            noise=noise,
            start_s=float(stretches.start_s[timed].min()) if timed.size else None,
            end_s=float(stretches.end_s[timed].max()) if timed.size else None,
        )
        if swath is None:
            return base
        sums, area = comparison.lines[at], self._lattice.cell_m**2
        density = sums.first / (sums.cells * area) if sums.cells and sums.first else None
        scale = self._lattice.horizontal_m
        track, outline = (
            tuple(((x + origin[0]) / scale, (y + origin[1]) / scale) for x, y in places)
            for places in swath.outline()
        )
        gap = gaps.get(at)
        return replace(
            base,
            heading_deg=swath.heading_deg,
            length_m=swath.length_m,
            speed_m_s=swath.speed_m_s,
            width_m=swath.width_m,
            density_per_m2=density,
            spacing_m=None if density is None else 1.0 / math.sqrt(density),
            usable_m2=sums.cells * area,
            distribution=gap.filled / gap.cells if gap is not None and gap.cells else None,
            distribution_cells=0 if gap is None else gap.cells,
            voids=0 if gap is None else len(gap.voids),
            voids_m2=0.0 if gap is None else sum(void.area_m2 for void in gap.voids),
            within=sums.within.parts(),
            track=track,
            outline=outline,
        )

    def _pairs(
        self,
        told: Told,
        swaths: dict[int, Swath],
        comparison: Comparison,
        origin: tuple[float, float],
        blocks: Blocks,
    ) -> tuple[PairRecord, ...]:
        start = blocks.start_s
        return tuple(
            comparison.pairs[i, j].record(
                (told.passes[i].number, told.passes[j].number),
                swaths[j],
                self._lattice,
                origin,
                timed=bool(np.isfinite(start[i]) and np.isfinite(start[j])),
            )
            for i, j in sorted(comparison.pairs)
        )
