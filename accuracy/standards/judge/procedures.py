"""Whether heights of a point cloud were taken as the document takes them.

A document that prescribes a procedure measures with it: the same cloud gives other differences by another. The
procedures are the functions of `accuracy.sampling` that a dataset names as its ``height``.
"""

from __future__ import annotations

from accuracy.findings import EvidenceValue, Severity
from accuracy.standards.judge.case import Case, Told
from accuracy.standards.judge.records import TakenHeights
from accuracy.standards.library import HeightProcedure

#: A size in metres that differs from a multiple of a spacing by less than this share is that multiple.
_ALIKE = 1e-9


def rule_procedure(case: Case) -> list[Told]:
    """Take the statement away where a binding procedure was not followed; tell it where one is not binding."""
    rules, evidence = case.standard.procedures, case.evidence
    if not rules or case.part == "horizontal" or evidence.kind == "raster":
        return []
    if not any(check.n for check in case.checks.values()):
        return []  # another rule tells
    binding = any(rule.binding for rule in rules)
    wanted = "; or ".join(f"{rule.words} ({rule.source})" for rule in rules)
    remedy = " or ".join(dict.fromkeys(_remedy(rule) for rule in rules))
    if evidence.kind == "measured-points":
        if not binding:
            return []
        message = (
            f"the heights come from a table, which does not show how they were taken: {wanted}"
        )
        return [case.tell("claim-height-procedure", message, {"wanted": rules[0].method}, remedy)]
    taken = evidence.heights
    if taken is None:
        if not binding:
            return []
        message = f"how the heights were taken is not said; the document takes {wanted}"
        facts: dict[str, EvidenceValue] = {"wanted": rules[0].method}
        return [case.tell("claim-height-procedure", message, facts, remedy, reason=message)]
    against = [_against(rule, taken) for rule in rules]
    if None in against:
        return _assumed(case, rules[against.index(None)], taken)
    message = f"{'; '.join(text for text in against if text)}; the document takes {wanted}"
    facts = {"wanted": rules[0].method, "taken": taken.method}
    reason = message if binding else None
    return [case.tell("claim-height-procedure", message, facts, remedy, reason=reason)]


def _against(rule: HeightProcedure, taken: TakenHeights) -> str | None:
    """Say what of a procedure was not followed; None where nothing was."""
    if taken.method != rule.method:
        return f"the heights were taken by height = {taken.method}"
    if rule.across is None:
        return None
    if taken.shape not in rule.shapes:
        return f"the heights are of a {taken.shape}"
    if rule.of == "grid-spacing":
        return None  # no file says it: told by `_assumed`
    if taken.design_spacing_m is None or taken.across_m is None:
        return "the design spacing is not known, so neither is the size that the document wants"
    wanted_m = float(rule.across) * taken.design_spacing_m
    if abs(taken.across_m - wanted_m) <= _ALIKE * wanted_m:
        return None
    return (
        f"the {taken.shape} is {taken.across_m:.4g} m across, which is "
        f"{taken.across_m / taken.design_spacing_m:.4g} times the design spacing of "
        f"{taken.design_spacing_m:.4g} m"
    )


def _assumed(case: Case, rule: HeightProcedure, taken: TakenHeights) -> list[Told]:
    """Say what grid spacing a size means, where the document reckons with one."""
    if rule.of != "grid-spacing" or rule.across is None or taken.across_m is None:
        return []
    spacing_m = taken.across_m / float(rule.across)
    message = (
        f"heights taken in a {taken.shape} {taken.across_m:.4g} m across, as the document takes them for an "
        f"elevation model of {spacing_m:.4g} m grid spacing ({rule.source})"
    )
    remedy = "make sure that this is the grid spacing of the model"
    severity = Severity.NOTE
    facts: dict[str, EvidenceValue] = {"grid_spacing_m": spacing_m}
    return [case.tell("claim-height-procedure", message, facts, remedy, severity=severity)]


def _remedy(rule: HeightProcedure) -> str:
    told = f'set height = "{rule.method}" in the dataset'
    if rule.across is None:
        return told
    shapes = " or ".join(f'"{shape}"' for shape in rule.shapes)
    told += f", neighbourhood_shape = {shapes}"
    if rule.of == "design-spacing":
        spacings = f"{float(rule.across):g}"
        return f"{told}, neighbourhood_across_spacings = {spacings} and design_anps_m"
    return f"{told}, neighbourhood_across_m = {float(rule.across):g} times the grid spacing"
