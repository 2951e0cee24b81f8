"""Height and eccentricity in the header, and in the site log, against the crew's own log."""

from __future__ import annotations

from collections.abc import Iterator

from accuracy.base_checks.heights import causes, matching, one_of
from accuracy.base_checks.record import BaseCheck, Station, Vector, length, shown
from accuracy.base_checks.used_height import SAME_M, logged, true_m, true_vector
from accuracy.findings import Severity


def check(station: Station) -> Iterator[BaseCheck]:
    """Tell where they differ by more than a millimetre.

    Where the processing took the header's height the effect is told by the check of heights; here it has none.
    """
    right = true_m(station)
    if right is None:
        return
    header, given = station.header, station.given
    if header is not None and header.delta_hen_m is not None and given is not None:
        up, east, north = header.delta_hen_m
        true = true_vector(station, right)
        off = Vector(east, north, up).plus(Vector(*(-(value or 0.0) for value in true.values)))
        if off.size_m > SAME_M:
            found = matching(off, causes(station, right), SAME_M)
            yield BaseCheck(
                "base-header",
                "header-height-differs",
                Severity.WARNING,
                f"the header of {station.header_name} gives height {up:.4f}, east {east:.4f}, north "
                f"{north:.4f} m, "
                f"measured are {right:.4f} m: {shown(off)}"
                + (f"; {one_of(found)}" if found else "")
                + "; the processing was given another height, so this moves nothing by itself",
                consistent_with=found,
                remedy="make sure that the processing did not take the header's height, or add it",
            )
    entry = logged(station)
    if entry is not None and station.height is not None and abs(entry[2] - right) > SAME_M:
        assert station.site_log is not None
        yield BaseCheck(
            "base-site-log",
            "site-log-differs",
            Severity.WARNING,
            f"the site log of {station.site_log.station} has the reference point {entry[2]:.4f} m "
            "over the mark, the "
            f"job {right:.4f} m: {length(right - entry[2])}",
            remedy="use the site log's value for a permanent station, or correct the job",
            component="vertical",
        )
