"""What a document wants of number and places of the points, in words."""

from __future__ import annotations

from collections.abc import Iterator

from accuracy.standards.library import AreaCount, LayoutRules, Source

TO_CONFIRM = "to confirm"


def layout_rules(rules: LayoutRules) -> Iterator[tuple[str, str, Source]]:
    """Yield kind, text and source of every rule."""
    for rule in rules.counts:
        yield "points by area", f"{rule.part}, {rule.cover}: {_area_text(rule)}", rule.source
    if (control := rules.control) is not None:
        text = f"{control.share} checkpoints for each control point, at least {control.least}"
        yield "points by control", text, control.source
    if (spread := rules.distribution) is not None:
        text = (
            f"{spread.quadrant_share:.0%} of the points in each quadrant, "
            f"{spread.diagonal_share:.0%} of the diagonal apart"
        )
        text += ", each cover by itself" if spread.by_cover else ""
        yield "distribution", text + ("" if spread.required else " (advice)"), spread.source
    if (siting := rules.siting) is not None:
        texts = []
        if siting.slope_deg is not None:
            texts.append(f"slope {'<' if siting.below else '<='} {siting.slope_deg:.2f} degrees")
        if siting.deviation_share is not None:
            texts.append(f"deviation from a plane < {siting.deviation_share} of the limit")
        yield "siting", ", ".join(texts), siting.source
    for point in rules.confirm:
        yield TO_CONFIRM, point.text, point.source


def _area_text(rule: AreaCount) -> str:
    if rule.per_km2 is not None:
        return f"{rule.per_km2} for each km2, plus {rule.plus}, at least {rule.least}"
    told = [f"{number} up to {area_km2:g} km2" for area_km2, number in rule.steps]
    if rule.beyond is not None:
        told.append(f"{rule.beyond}{' beyond' if told else ''}")
    if rule.further_km2 is not None:
        told.append(f"{rule.further} more for each further {rule.further_km2:g} km2")
    return ", ".join(told)
