"""The library of standards as text and as data, for ``accuracy standards``."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Any

from accuracy.reports.layout_rules_text import TO_CONFIRM, layout_rules
from accuracy.standards.judge.examples import Recomputed, recompute
from accuracy.standards.library import Limit, LineRule, Measure, Standard

MARKS = ("read", "second-hand", "from-memory", "derived")


def marks(standard: Standard) -> Counter[str]:
    """Count how the numbers were come by; wording, examples and what the crew confirms decide nothing."""
    return Counter(mark for kind, _, _, mark in _numbers(standard) if kind != TO_CONFIRM)


def _limit_text(limit: Limit) -> str:
    if limit.key is None:
        return f"{limit.value:g} {limit.unit}"
    if limit.table is not None:
        rows = ", ".join(f"{name} {value:g}" for name, value in limit.table.items())
        return f"by {limit.key}, in {limit.unit}: {rows}"
    factor = "" if limit.factor == 1.0 else f"{limit.factor_text or f'{limit.factor:g}'} x "
    return f"{factor}{limit.key}"


def _measure_text(measure: Measure) -> str:
    survey = ", survey error included" if measure.survey_error_included else ""
    survey += ", of each land cover" if measure.each_land_cover else ""
    limit = (
        "as found" if measure.limit is None else f"{measure.operator} {_limit_text(measure.limit)}"
    )
    return f"{measure.name}: {measure.estimator} of {measure.component}, {measure.cover}{survey}; {limit}"


def _line_text(rule: LineRule) -> str:
    text = f"{rule.name}: {rule.measured.what}"
    if rule.limit is None:
        return f"{text}; as found"
    least = f"; at least {rule.at_least} {rule.measured.counted}" if rule.at_least else ""
    decides = "" if rule.binding else " (remarked, no more)"
    limit = Limit(
        rule.limit.unit, rule.limit.key, rule.limit.factor, rule.limit.table, rule.limit.value
    )
    return f"{text}; {rule.operator} {_limit_text(limit)}{least}{decides}"


def _numbers(standard: Standard) -> Iterator[tuple[str, str, str, str]]:
    """Yield kind, text, citation and mark of every number."""
    for measure in standard.requirements:
        yield "requirement", _measure_text(measure), measure.cite, measure.verification
    for measure in standard.reports:
        yield "report", _measure_text(measure), measure.cite, measure.verification
    for rule in standard.minimums:
        text = f"at least {rule.minimum} points, {rule.part}, {rule.cover}"
        text += " in each land cover" * rule.each_land_cover
        text += "" if rule.binding else " (fewer are remarked, no more)"
        yield "checkpoints", text, rule.cite, rule.verification
    if (survey := standard.survey) is not None:
        ratio = "better than the data" if survey.ratio is None else f"{survey.ratio:g} times better"
        text = f"survey {ratio}" + ("" if survey.binding else " (worse is remarked, no more)")
        yield "survey", text, survey.cite, survey.verification
    if standard.survey_error is not None:
        error = standard.survey_error
        yield "survey error", "sqrt(found^2 + survey^2)", error.cite, error.verification
    for method in standard.survey_methods:
        sides = [("horizontal", method.rmse_h_m), ("vertical", method.rmse_v_m)]
        text = ", ".join(f"{side} {value:g} m" for side, value in sides if value is not None)
        yield "survey method", f"{method.name}: {text}", method.cite, method.verification
    for screen in standard.rules:
        text = f"{screen.kind} {screen.operator} {screen.factor:g} x the limit on the RMSE"
        text += "" if screen.binding else " (remarked, no more)"
        yield "screen", text, screen.cite, screen.verification
    for procedure in standard.procedures:
        text = procedure.words + ("" if procedure.binding else " (otherwise is remarked, no more)")
        yield "heights of a cloud", text, procedure.source.cite, procedure.source.verification
    for kind, text, source in layout_rules(standard.layout):
        yield kind, text, source.cite, source.verification
    if (spacing := standard.line_spacing) is not None:
        limit = Limit(spacing.limit.unit, spacing.limit.key, table=spacing.limit.table)
        text = f"design spacing (ANPS) {_limit_text(limit)}"
        yield "flight lines", text, spacing.cite, spacing.verification
    for line_rule in standard.line_rules:
        yield "flight lines", _line_text(line_rule), line_rule.cite, line_rule.verification


def render_list(standards: Sequence[Standard]) -> str:
    """List the standards with the share of their numbers by how they were come by."""
    width = max(len(standard.id) for standard in standards)
    lines = [
        f"{'id':<{width}}  {'numbers':>7} {'read':>5} {'2nd':>5} {'mem.':>5} {'der.':>5}  document"
    ]
    for standard in standards:
        counts = marks(standard)
        total = sum(counts.values())
        shares = " ".join(f"{counts[mark] / total:>5.0%}" for mark in MARKS)
        sup = f"; superseded by {standard.superseded_by}" if standard.superseded_by else ""
        lines.append(
            f"{standard.id:<{width}}  {total:>7} {shares}  {standard.full_title} ({standard.date}){sup}"
        )
    lines += [
        "",
        "read: in the document or an official companion; 2nd: in a quotation or extract; mem.: from",
        "memory, not verified; der.: derived from other numbers. accuracy standards ID explains one.",
    ]
    return "\n".join(lines) + "\n"


def render_one(standard: Standard) -> str:
    """Explain one standard: every rule with citation and mark, its wording, its examples computed anew."""
    lines = [f"{standard.id}: {standard.full_title}", f"  {standard.document}, {standard.date}"]
    if standard.superseded_by:
        lines.append(f"  superseded by {standard.superseded_by}")
    if standard.note:
        lines.append(f"  {standard.note}")
    lines += ["", "A claim gives:"]
    for key in standard.claim_keys:
        what = f"one of {', '.join(key.choices)}" if key.choices else f"a length in {key.unit}"
        lines.append(f"  {key.name}: {key.meaning}; {what}")
    lines += ["", "Numbers:"]
    for kind, text, cite, mark in _numbers(standard):
        lines += [f"  {kind}: {text}", f"    [{mark}] {cite}"]
    if standard.wordings:
        lines += ["", "Wording:"]
    for wording in standard.wordings:
        lines += [
            f"  {wording.kind}, {wording.part}: {wording.text}{wording.vegetated_text}",
            f"    [{wording.verification}] {wording.cite}",
        ]
    lines += ["", "Worked examples, computed now:"]
    for done in recompute(standard):
        lines += _example(done)
    return "\n".join(lines) + "\n"


def _example(done: Recomputed) -> Iterator[str]:
    example = done.example
    yield f"  {example.name}: {'agrees' if done.agrees else 'DOES NOT AGREE'}"
    for wanted, found in done.values:
        text = "no value" if found is None else f"{found:.{wanted.decimals + 2}f} m"
        survey = ", survey error included" if wanted.survey_error_included else ""
        yield (
            f"    {wanted.statistic} of {wanted.component}{survey}: "
            f"{wanted.value:.{wanted.decimals}f} m given, {text} found"
        )
    for id_, passes in done.passes.items():
        claim = ", ".join(f"{key} = {value}" for key, value in example.claim.items())
        yield f"    {id_} with {claim}: {'within' if passes else 'beyond'} the limit"
    yield f"    [{example.verification}] {example.cite}"


def standard_data(standard: Standard, *, full: bool) -> dict[str, Any]:
    """Give a standard as plain data; `full` with its rules, wording and examples."""
    counts = marks(standard)
    data: dict[str, Any] = {
        "id": standard.id,
        "title": standard.title,
        "edition": standard.edition,
        "document": standard.document,
        "date": standard.date,
        "note": standard.note,
        "superseded_by": standard.superseded_by or None,
        "numbers": {mark: counts[mark] for mark in MARKS},
        "claim_keys": [
            {"name": k.name, "meaning": k.meaning, "unit": k.unit, "choices": list(k.choices)}
            for k in standard.claim_keys
        ],
    }
    if full:
        data["rules"] = [
            {"kind": kind, "rule": text, "cite": cite, "verification": mark}
            for kind, text, cite, mark in _numbers(standard)
        ]
        data["wording"] = [
            {
                "kind": w.kind,
                "part": w.part,
                "text": w.text + w.vegetated_text,
                "cite": w.cite,
                "verification": w.verification,
            }
            for w in standard.wordings
        ]
        data["worked_examples"] = [
            {
                "name": done.example.name,
                "agrees": done.agrees,
                "values": [
                    {
                        "statistic": w.statistic,
                        "component": w.component,
                        "given_m": w.value,
                        "found_m": f,
                    }
                    for w, f in done.values
                ],
                "cite": done.example.cite,
                "verification": done.example.verification,
            }
            for done in recompute(standard)
        ]
    return data
