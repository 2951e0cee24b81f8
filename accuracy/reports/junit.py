"""JUnit XML for build servers: one test case for each claim, or for each comparison.

What has no statement is an ``error``, never skipped: a dashboard must not show it as green. There is no norm
for the format; these are the elements that readers of it share (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal
from xml.etree import ElementTree

from accuracy.comparison_record import Comparison
from accuracy.reports.comparison_text import OUTCOME_WORDS, p_text, what
from accuracy.reports.words import VERDICT_WORDS, check_text, printable, printable_lines
from accuracy.result import Result
from accuracy.units import LengthUnit


@dataclass(frozen=True)
class Case:
    """One test case. `problem` is None where it is passed."""

    suite: str
    name: str
    problem: Literal["failure", "error"] | None
    message: str
    detail: str = ""


def of_result(result: Result) -> bytes:
    """Give one test case for each claim; without any claim, one that is an error."""
    return _xml("accuracy verify", list(_result_cases(result)))


def of_comparison(comparison: Comparison) -> bytes:
    """Give one test case for each component and cover, and one for each claim."""
    return _xml("accuracy compare", list(_comparison_cases(comparison)))


def _result_cases(result: Result) -> Iterator[Case]:
    unit = LengthUnit(result.job.get("job", {}).get("display_units", "metre"))
    suite = str(result.job.get("job", {}).get("title", "job"))
    claims = [(dataset, claim) for dataset in result.datasets for claim in dataset.claims]
    for dataset, claim in claims:
        claimed = ", ".join(f"{key} = {value}" for key, value in claim.claimed.items())
        name = f"{dataset.name}: {claim.standard}{f', {claimed}' if claimed else ''}"
        message = (
            f"{VERDICT_WORDS[claim.verdict].lower()}{f': {claim.reason}' if claim.reason else ''}"
        )
        checks = "\n".join(check_text(check, unit) for check in claim.checks)
        yield Case(suite, name, _PROBLEMS.get(claim.verdict), message, checks)
    for cloud, lines in result.lines.items():
        for on_lines in lines["claims"]:
            claimed = ", ".join(f"{key} = {value}" for key, value in on_lines["claimed"].items())
            name = (
                f"{cloud}, flight lines: {on_lines['standard']}{f', {claimed}' if claimed else ''}"
            )
            why = f": {on_lines['reason']}" if on_lines["reason"] else ""
            message = f"{VERDICT_WORDS[on_lines['verdict']].lower()}{why}"
            problem = _PROBLEMS.get(on_lines["verdict"])
            yield Case(suite, name, problem, message, on_lines["statement"])
    if not claims:
        yield Case(suite, "claims", "error", "the job claims nothing, so nothing was judged")


#: A figure that is only reported was asked for as such.
_PROBLEMS: dict[str, Literal["failure", "error"]] = {"fails": "failure", "no-statement": "error"}


def _comparison_cases(comparison: Comparison) -> Iterator[Case]:
    for group in comparison.groups:
        name = f"no regression of {what(group)}"
        if not group.pairs:
            yield Case(_suite(comparison, None), name, "error", "no common checkpoint")
        for pair in group.pairs:
            if pair.before == 0:
                message = (
                    f"{OUTCOME_WORDS[pair.outcome].lower()}: RMSE {pair.rmse_before_m:.4f} -> "
                    f"{pair.rmse_after_m:.4f} m, p = {p_text(pair.p_adjusted)}, n = {len(group.ids)}"
                )
                problem = _OUTCOMES.get(pair.outcome)
                yield Case(_suite(comparison, pair.after), name, problem, message, pair.reason)
    for claim in comparison.claims:
        words = [
            "not claimed" if verdict is None else VERDICT_WORDS[verdict].lower()
            for verdict in (claim.before, claim.after)
        ]
        lost = claim.after is None or claim.after == "no-statement"
        failed = claim.before == "passes" and claim.after == "fails"
        yield Case(
            _suite(comparison, claim.run),
            f"verdict on {claim.dataset}: {claim.standard}",
            "failure" if failed else "error" if lost else None,
            f"{words[0]} -> {words[1]}",
        )
    if not comparison.groups:
        yield Case(
            _suite(comparison, None), "comparison", "error", "nothing that is claimed was compared"
        )


_OUTCOMES: dict[str, Literal["failure", "error"]] = {"worse": "failure", "no-verdict": "error"}


def _suite(comparison: Comparison, run: int | None) -> str:
    runs = comparison.runs[1:] if run is None else [comparison.runs[run]]
    return f"{', '.join(its.label for its in runs)} against {comparison.runs[0].label}"


def _xml(name: str, cases: Sequence[Case]) -> bytes:
    root = ElementTree.Element("testsuites", name=name)
    _count(root, cases)
    for suite in dict.fromkeys(case.suite for case in cases):
        its = [case for case in cases if case.suite == suite]
        element = ElementTree.SubElement(root, "testsuite", name=printable(suite))
        _count(element, its)
        for case in its:
            test = ElementTree.SubElement(
                element, "testcase", classname=printable(suite), name=printable(case.name), time="0"
            )
            if case.problem is None:
                out = ElementTree.SubElement(test, "system-out")
                out.text = printable_lines("\n".join(filter(None, (case.message, case.detail))))
            else:
                problem = ElementTree.SubElement(
                    test, case.problem, type=case.problem, message=printable(case.message)
                )
                problem.text = printable_lines(case.detail)
    ElementTree.indent(root, " ")
    text: bytes = ElementTree.tostring(root, encoding="utf-8", xml_declaration=True)
    return text + b"\n"


def _count(element: ElementTree.Element, cases: Sequence[Case]) -> None:
    element.set("tests", str(len(cases)))
    for problem, plural in (("failure", "failures"), ("error", "errors")):
        element.set(plural, str(sum(case.problem == problem for case in cases)))
    element.set("skipped", "0")
