"""The layout of the checkpoints of one dataset, as the document of a claim wants it: facts and findings."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from accuracy.findings import Component, EvidenceValue, Finding, Severity
from accuracy.layout.distribution import Spread, poor_quadrants, spread, too_near
from accuracy.layout.footprint import Footprint
from accuracy.layout.records import CoverGroup, CoverLayout, DocumentLayout
from accuracy.layout.rules import rules_of
from accuracy.layout.siting import rough, steep
from accuracy.residuals import ResidualRow
from accuracy.standards.library import Distribution, LayoutRules, Part, Standard

#: So many names at most in a message.
_MOST_NAMES = 12


@dataclass(frozen=True)
class _Case:
    dataset: str
    standard: Standard
    claimed: Mapping[str, object]
    rules: LayoutRules
    area: Footprint | None

    def tell(
        self,
        code: str,
        severity: Severity,
        message: str,
        evidence: Mapping[str, EvidenceValue],
        remedy: str,
        component: Component = "all",
    ) -> Finding:
        return Finding(
            code,
            severity,
            f"{self.standard.id}: {message}",
            dataset=self.dataset,
            component=component,
            evidence={"standard": self.standard.id, **evidence},
            remedy=remedy,
        )


def limits_m(standard: Standard, claimed: Mapping[str, object]) -> dict[Part, float]:
    """Give the smallest limit that a claim sets to an RMSE or 95 % value of each part, in metres."""
    found: dict[Part, float] = {}
    for measure in standard.requirements:
        limit = measure.limit.metres(claimed) if measure.limit else None
        if limit is not None:
            found[measure.part] = min(limit, found.get(measure.part, limit))
    return found


def assess(
    dataset: str,
    rows: Sequence[ResidualRow],
    standard: Standard,
    claimed: Mapping[str, object],
    area: Footprint | None,
) -> tuple[DocumentLayout, tuple[Finding, ...]]:
    """Compare number and places of the checkpoints with what the document of one claim wants.

    Parameters
    ----------
    rows : sequence of ResidualRow
        All of the dataset.
    claimed : mapping
        Keys of the claim.
    area : Footprint or None
        The outline of ``[area]`` or the footprint of the data; None where neither is known.
    """
    case = _Case(dataset, standard, claimed, rules_of(standard), area)
    limits = limits_m(standard, claimed)
    parts = tuple(limits) or tuple(dict.fromkeys(m.part for m in standard.requirements))
    used = [row for row in rows if row.used]
    findings: list[Finding] = []
    outside = _outside(case, used)
    if outside:
        findings.append(
            case.tell(
                "layout-outside",
                Severity.WARNING,
                f"{len(outside)} checkpoints lie outside {area.source if area else ''}: {_names(outside)}",
                {"points": len(outside)},
                "a point outside proves nothing about the area: leave it out with a reason",
            )
        )
    findings += _for_control(case, rows, used)
    covers = []
    for part, cover in _groups(case, parts):
        members = [row for row in used if _counts(row, part) and cover in ("all", row.cover)]
        layout, more = _cover(case, part, cover, members)
        covers.append(layout)
        findings += more
    bare = [row for row in used if _counts(row, "vertical") and row.cover == "non-vegetated"]
    on_slope, on_rough = _sited(case, bare, _rmse_limit_m(standard, claimed), findings)
    wanted, ratio = _survey_ratio(standard, used, limits)
    distribution = case.rules.distribution
    return (
        DocumentLayout(
            dataset=dataset,
            standard=standard.id,
            area_from=area.source if area else None,
            area_km2=round(area.area_m2 / 1e6, 9) if area else None,
            diagonal_m=round(area.diagonal_m, 3) if area else None,
            outside=outside,
            spacing_wanted_m=round(distribution.diagonal_share * area.diagonal_m, 3)
            if area and distribution
            else None,
            covers=tuple(covers),
            steep=on_slope,
            rough=on_rough,
            survey_ratio_wanted=wanted,
            survey_ratio=ratio,
            confirm=tuple(map(str, case.rules.confirm)),
        ),
        tuple(findings),
    )


def _for_control(
    case: _Case, rows: Sequence[ResidualRow], used: Sequence[ResidualRow]
) -> Iterator[Finding]:
    """Compare the number of checkpoints with the share of the control that the document wants."""
    rule = case.rules.control
    control = sum(row.role == "control" for row in rows)
    if rule is None or len(used) >= rule.wanted(control):
        return
    wanted = rule.wanted(control)
    yield case.tell(
        "layout-few-for-control",
        Severity.WARNING,
        f"{len(used)} checkpoints beside {control} control points, {wanted} wanted ({rule.source})",
        {"points": len(used), "control": control, "wanted": wanted},
        f"survey {wanted - len(used)} more that take no part in the processing",
    )


def _names(ids: Sequence[str]) -> str:
    more = len(ids) - _MOST_NAMES
    return ", ".join(ids[:_MOST_NAMES]) + (f" and {more} more" if more > 0 else "")


def _counts(row: ResidualRow, part: Part) -> bool:
    residual = row.residual
    if residual is None:
        return False
    if part == "vertical":
        return residual.up_m is not None
    return residual.east_m is not None and (part == "horizontal" or residual.up_m is not None)


def _groups(case: _Case, parts: Sequence[Part]) -> Iterator[tuple[Part, CoverGroup]]:
    """Give part and cover of the groups of points that the document counts, each cover once."""
    seen: set[CoverGroup] = set()
    for part in parts:
        covers: tuple[CoverGroup, ...] = ("all",)
        if part == "vertical" and case.rules.by_cover:
            covers = ("non-vegetated", "vegetated")
        for cover in covers:
            if cover not in seen:
                seen.add(cover)
                yield part, cover


def _places(
    rows: Sequence[ResidualRow],
) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]] | None:
    places = [(row.surveyed.east_m, row.surveyed.north_m) for row in rows]
    if not places or any(None in place for place in places):
        return None
    return np.array(places, dtype=np.float64)


def _outside(case: _Case, used: Sequence[ResidualRow]) -> tuple[str, ...]:
    places = _places(used)
    if case.area is None or places is None:
        return ()
    inside = case.area.contains(places)
    return tuple(row.id for row, within in zip(used, inside.tolist(), strict=True) if not within)


def _cover(
    case: _Case, part: Part, cover: CoverGroup, rows: Sequence[ResidualRow]
) -> tuple[CoverLayout, list[Finding]]:
    first: dict[tuple[float | None, float | None], ResidualRow] = {}
    for row in rows:  # points at one place count once, as for the judge
        first.setdefault((row.surveyed.east_m, row.surveyed.north_m), row)
    rows = list(first.values())
    findings: list[Finding] = []
    number, area, rule = case.rules.count(part, cover), case.area, case.rules.distribution
    wanted = number.wanted(area.area_m2 / 1e6) if number and area else None
    smallest = number.wanted(0.0) if number else None
    if number and area and wanted and smallest and len(rows) < wanted and wanted > smallest:
        message = (
            f"{len(rows)} {_covered(cover)}checkpoints on {area.area_m2 / 1e6:.0f} km2, {wanted} wanted "
            f"({number.source})"
        )
        findings.append(
            case.tell(
                "layout-few-for-area",
                Severity.WARNING,
                message,
                {"points": len(rows), "wanted": wanted, "cover": cover},
                f"survey {wanted - len(rows)} more",
            )
        )
    places = _places(rows)
    if area is None or places is None or rule is None:
        return CoverLayout(cover, len(rows), wanted), findings
    found = spread(area, places)
    least_m = rule.diagonal_share * area.diagonal_m
    near = too_near([row.id for row in rows], found, least_m)
    findings += _spread_findings(case, rule, cover, found, near, least_m)
    return (
        CoverLayout(
            cover=cover,
            points=len(rows),
            wanted=wanted,
            quadrants=found.quadrants,
            least_share=round(found.least_share, 6),
            nearest_m=round(float(found.nearest_m.min()), 3) if len(rows) > 1 else None,
            near=near,
        ),
        findings,
    )


def _covered(cover: CoverGroup) -> str:
    return "" if cover == "all" else f"{cover} "


def _spread_findings(
    case: _Case,
    rule: Distribution,
    cover: CoverGroup,
    found: Spread,
    near: Sequence[str],
    least_m: float,
) -> Iterator[Finding]:
    severity = Severity.WARNING if rule.required else Severity.NOTE
    poor = poor_quadrants(found, rule.quadrant_share)
    total = sum(found.quadrants)
    if poor:
        yield case.tell(
            "layout-quadrants",
            severity,
            f"of {total} {_covered(cover)}checkpoints fewer than {rule.quadrant_share:.0%} in a quadrant of "
            f"the area: {', '.join(poor)} ({rule.source})",
            {"cover": cover, "points": total, "least_share": found.least_share},
            "survey points where there are few; accuracy plan says where",
        )
    if near:
        yield case.tell(
            "layout-spacing",
            severity,
            f"{len(near)} of {total} {_covered(cover)}checkpoints are nearer to another than "
            f"{rule.diagonal_share:.0%} of the diagonal of the area, {least_m:.1f} m: {_names(near)} "
            f"({rule.source})",
            {"cover": cover, "points": len(near), "wanted_m": least_m},
            "spread the points over the area; accuracy plan says where",
        )


def _rmse_limit_m(standard: Standard, claimed: Mapping[str, object]) -> float | None:
    """Give the limit on the vertical RMSE, which the rule for deviations from a plane is a share of."""
    for measure in standard.requirements:
        if measure.part == "vertical" and measure.estimator == "rmse" and measure.limit:
            return measure.limit.metres(claimed)
    return None


def _sited(
    case: _Case, bare: Sequence[ResidualRow], limit_m: float | None, findings: list[Finding]
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    rule = case.rules.siting
    if rule is None:
        return (), ()
    on_slope, on_rough = steep(bare, rule), rough(bare, rule, limit_m)
    if on_slope and rule.slope_deg is not None:
        findings.append(
            case.tell(
                "layout-steep",
                Severity.WARNING,
                f"{len(on_slope)} non-vegetated checkpoints stand on ground steeper than "
                f"{rule.slope_deg:.1f} degrees: {_names(on_slope)} ({rule.source})",
                {"points": len(on_slope), "limit_deg": rule.slope_deg},
                "on a slope a horizontal error shows as height; prefer flat, open ground",
                "vertical",
            )
        )
    if on_rough and rule.deviation_share is not None and limit_m is not None:
        allowed_m = float(rule.deviation_share) * limit_m
        findings.append(
            case.tell(
                "layout-rough",
                Severity.NOTE,
                f"around {len(on_rough)} non-vegetated checkpoints the deliverable deviates from a plane by "
                f"{allowed_m:.3f} m or more, root mean square, its own noise included: {_names(on_rough)} "
                f"({rule.source}: {rule.deviation_share} of the limit)",
                {"points": len(on_rough), "allowed_m": allowed_m},
                "look whether the ground is rough there, or a break is near",
                "vertical",
            )
        )
    return on_slope, on_rough


def _survey_ratio(
    standard: Standard, used: Sequence[ResidualRow], limits: Mapping[Part, float]
) -> tuple[float | None, float | None]:
    """Give how many times better than the limit the survey must be and is, for the first part claimed."""
    wanted = standard.survey.ratio if standard.survey else None
    for part, limit in limits.items():
        if part == "3d":
            continue
        known = [
            row.survey_rmse_v_m if part == "vertical" else row.survey_rmse_h_m
            for row in used
            if _counts(row, part)
        ]
        values = [value for value in known if value is not None]
        if values and len(values) == len(known) and any(values):
            return wanted, round(limit / float(np.sqrt(np.mean(np.square(values)))), 6)
        return wanted, None
    return wanted, None
