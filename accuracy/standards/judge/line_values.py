"""From what was found on flight lines to the quantities that documents limit."""

from __future__ import annotations

from collections.abc import Mapping

from accuracy.flightlines.records import LinesRecord, PairRecord
from accuracy.standards.judge.lines import LEAST_CELLS, LineValue


def line_values(record: LinesRecord) -> Mapping[str, LineValue]:
    """Give the quantities of `accuracy.standards.library.QUANTITIES` by name.

    A quantity without a value says why. Where a document's literal formula is meant, the literal one is taken.
    """
    return {
        **_between(record),
        **_within(record),
        **_density(record),
        **_gaps(record),
        "duplicate-points": _duplicates(record),
    }


def _none(why: str) -> LineValue:
    return LineValue(None, why=why)


def _no_pairs(record: LinesRecord) -> str:
    if record.how == "all-points":
        return "flight lines cannot be told apart"
    if len(record.lines) < 2:
        return "there is one flight line only"
    return "no two flight lines overlap"


def _between(record: LinesRecord) -> dict[str, LineValue]:
    names = ("swath-rmsd", "swath-max", "pair-rmsd-largest", "pair-mean-largest", "overlap-least")
    if not record.pairs:
        return dict.fromkeys(names, _none(_no_pairs(record)))
    whole, none = record.differences, "no shared cell is smooth, hard and gently sloping"
    told = [pair for pair in record.pairs if pair.differences.n >= LEAST_CELLS]
    thin = _none(f"no pair has {LEAST_CELLS} assessed cells")
    widths = [width for pair in record.pairs if (width := _least_width(pair)) is not None]
    return {
        "swath-rmsd": LineValue(whole.rmsd_m, whole.n) if whole.n else _none(none),
        "swath-max": LineValue(whole.max_abs_m, whole.n) if whole.n else _none(none),
        "pair-rmsd-largest": LineValue(
            max(pair.differences.rmsd_m or 0.0 for pair in told), len(told)
        )
        if told
        else thin,
        "pair-mean-largest": LineValue(
            max(abs(pair.differences.mean_m or 0.0) for pair in told), len(told)
        )
        if told
        else thin,
        "overlap-least": LineValue(min(widths), len(widths))
        if widths
        else _none("no two lines lie side by side"),
    }


def _least_width(pair: PairRecord) -> float | None:
    return None if pair.kind == "crossing" else pair.overlap_least_width_m


def _within(record: LinesRecord) -> dict[str, LineValue]:
    whole = next((part for part in record.within if part.part == "all"), None)
    if record.literal_cell_m is None:
        why = "the cell of the document is not made of whole cells of the analysis"
    else:
        why = "no smooth cell of single returns has smooth cells all around it"
    thickness = _none("no cell is smooth, hard and gently sloping")
    if whole is not None and whole.plane_cells:
        thickness = LineValue(whole.plane_rms_m, whole.plane_cells)
    if whole is None or not whole.literal_cells:
        bare = dict.fromkeys(("precision-rmsd", "precision-max"), _none(why))
        return {**bare, "precision-thickness": thickness}
    return {
        "precision-thickness": thickness,
        "precision-rmsd": LineValue(whole.literal_rmsd_m, whole.literal_cells),
        "precision-max": LineValue(whole.literal_max_m, whole.literal_cells),
    }


def _density(record: LinesRecord) -> dict[str, LineValue]:
    coverage = record.coverage
    counted = sum(line.density_per_m2 is not None for line in record.lines)
    apart = record.how != "all-points"
    single = LineValue(coverage.line_density_per_m2, counted)
    return {
        "density-single-swath": single if apart else _none("flight lines cannot be told apart"),
        "density-aggregate": LineValue(coverage.density_per_m2, len(record.lines)),
    }


def _gaps(record: LinesRecord) -> dict[str, LineValue]:
    coverage = record.coverage
    if record.how == "all-points":
        why = "flight lines cannot be told apart"
        return {"voids-open": _none(why), "distribution-share": _none(why)}
    if coverage.anps_m is None:
        why = "no spacing is known"
        return {"voids-open": _none(why), "distribution-share": _none(why)}
    share = LineValue(coverage.distribution, coverage.distribution_cells)
    if not coverage.anps_designed:  # by its own spacing every flight is distributed alike
        share = _none("no design spacing is stated, and the document judges by it")
    return {
        "voids-open": LineValue(float(coverage.voids_unfilled), coverage.voids_found),
        "distribution-share": share,
    }


def _duplicates(record: LinesRecord) -> LineValue:
    found = record.duplicates
    return LineValue(float(round(found.surplus)), round(record.points * found.sampled))
