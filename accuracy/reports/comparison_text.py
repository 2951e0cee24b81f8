"""A comparison as people read it on a terminal: verdict first, then what changed, then the differences."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator, Mapping, Sequence

from accuracy.comparison_record import (
    AxisInfo,
    Change,
    ClaimPair,
    Comparison,
    Group,
    Pair,
    Points,
    RunSide,
)
from accuracy.findings import Severity
from accuracy.reports.words import VERDICT_WORDS, length, printable
from accuracy.units import LengthUnit

WIDTH = 96

OUTCOME_WORDS = {
    "better": "BETTER",
    "worse": "WORSE",
    "no-difference-shown": "NO DIFFERENCE SHOWN",
    "no-verdict": "NO VERDICT",
}

#: Points named before the rest is only counted.
_NAMED = 12

#: Reasons told before the rest is only counted.
_REASONS = 5

#: Longest value of a change that is shown whole.
_SHOWN = 60


def render(comparison: Comparison) -> str:
    """Give the text of a comparison; the record has every number."""
    unit = comparison.display_units
    lines = [*_head(comparison), ""]
    for number, run in enumerate(comparison.runs):
        lines += _run(_name(comparison, number), run)
    lines += _section("What changed", _changes(comparison))
    lines += _section("Checkpoints", _points(comparison))
    title = f"Differences on common checkpoints, in {unit.print_name}"
    lines += _section(
        title, (line for its in comparison.groups for line in _group(comparison, its, unit))
    )
    lines += _section("Claims", _claims(comparison))
    lines += _section("Findings", _findings(comparison))
    return "\n".join([*lines, "", *textwrap.wrap(how(comparison), WIDTH)]) + "\n"


def headline(comparison: Comparison) -> str:
    """Give the verdict, and what of the claims must be known with it."""
    flips = [pair for pair in comparison.flips if pair.before == "passes" and pair.after == "fails"]
    lost = [
        pair
        for pair in comparison.flips
        if pair.before == "passes" and pair.after in (None, "no-statement")
    ]
    text = OUTCOME_WORDS[comparison.verdict]
    for pairs, one, many in (
        (flips, "now fails", "now fail"),
        (lost, "has no statement now", "have no statement now"),
    ):
        if pairs:
            count = len(pairs)
            told = (
                f"1 claim that passed {one}" if count == 1 else f"{count} claims that passed {many}"
            )
            text += f", AND {told}"
    return text


def run_names(comparison: Comparison) -> tuple[str, ...]:
    """Call the runs before and after where they are two, by number otherwise."""
    if len(comparison.runs) == 2:
        return "before", "after"
    return tuple(f"run {i + 1}" for i in range(len(comparison.runs)))


def what(group: Group) -> str:
    """Name a component and cover of a dataset."""
    cover = "" if group.cover == "all" else f", {group.cover}"
    return f"{printable(group.dataset)}: {group.component}{cover}"


def p_text(p: float) -> str:
    """Print a probability so that it never contradicts the level it is compared with."""
    if p < 0.0001:
        return f"{p:.1e}"
    text = f"{p:.4f}"
    return f"{p:.6f}" if float(text) <= 0.05 < p else text


def _name(comparison: Comparison, run: int) -> str:
    return run_names(comparison)[run]


def _head(comparison: Comparison) -> list[str]:
    outcomes = [pair.outcome for its in comparison.groups for pair in its.pairs if pair.before == 0]
    counted = ", ".join(
        f"{outcomes.count(outcome)} {OUTCOME_WORDS[outcome].lower()}"
        for outcome in OUTCOME_WORDS
        if outcome in outcomes
    )
    return [f"{headline(comparison)}   ({counted or 'nothing could be compared'})"]


def _run(name: str, run: RunSide) -> Iterator[str]:
    about = [
        printable(text)
        for text in (run.title, run.site, run.sensor, run.flown and f"flown {run.flown}")
        if text
    ]
    yield _wrapped(
        f"{printable(run.label)}: {VERDICT_WORDS[run.verdict].lower()}", f"  {name:<8}", " " * 10
    )
    if about:
        yield _wrapped(", ".join(about), " " * 10, " " * 10)


def _wrapped(text: str, first: str, indent: str) -> str:
    return textwrap.fill(
        text,
        WIDTH,
        initial_indent=first,
        subsequent_indent=indent,
        break_long_words=False,
        break_on_hyphens=False,
    )


def _section(title: str, lines: Iterable[str]) -> list[str]:
    return ["", title, "-" * WIDTH, *(list(lines) or ["  none"])]


def _changes(comparison: Comparison) -> Iterator[str]:
    for number in range(1, len(comparison.runs)):
        its = [change for change in comparison.changes if change.run == number]
        if len(comparison.runs) > 2:
            yield f"  {_name(comparison, number)}, against {_name(comparison, 0)}"
        for change in its:
            yield _wrapped(change_text(change), f"  {change.area:<15}", " " * 17)
        if not its:
            yield "  nothing: the same inputs, job, settings and versions"


def change_text(change: Change) -> str:
    """Put one change into words."""
    name = printable(change.what)
    before, after = (None if v is None else printable(v) for v in (change.before, change.after))
    if change.kind == "renamed":
        return f"{name}: the same content as {after}"
    if change.area == "input":
        return f"{name}: {'other content' if change.kind == 'changed' else change.kind}"
    if before is not None and after is not None:
        if max(len(before), len(after)) > _SHOWN:
            return f"{name}: changed"
        return f"{name}: {before} -> {after}"
    value = (before or after or "")[:_SHOWN]
    return f"{name}: {change.kind}, {value}"


def _points(comparison: Comparison) -> Iterator[str]:
    for points in comparison.points:
        yield f"  {printable(points.dataset)}: {len(points.common)} common"
        yield from _notes(comparison, points)


def _notes(comparison: Comparison, points: Points) -> Iterator[str]:
    for label, notes in (
        ("lost", points.lost),
        ("gained", points.gained),
        ("moved", points.moved),
    ):
        for run in sorted({note.run for note in notes}):
            by_reason: dict[str, list[str]] = {}
            for note in notes:
                if note.run == run:
                    by_reason.setdefault(printable(note.reason), []).append(printable(note.id))
            for reason, ids in list(by_reason.items())[:_REASONS]:
                named = ", ".join(ids[:_NAMED])
                more = f" and {len(ids) - _NAMED} more" if len(ids) > _NAMED else ""
                yield _wrapped(
                    f"{label} {_name(comparison, run)}: {named}{more} ({reason})", "    ", "      "
                )
            rest = sum(map(len, list(by_reason.values())[_REASONS:]))
            if rest:
                yield f"    {label} {_name(comparison, run)}: {rest} more, see the record (--json)"


def _group(comparison: Comparison, its: Group, unit: LengthUnit) -> Iterator[str]:
    if not its.pairs:
        yield f"  {what(its)}: no common checkpoint"
        return
    yield f"  {what(its)}, n = {len(its.ids)}"
    if its.tolerance_m is not None:
        told = f"tolerance {length(its.tolerance_m, unit, decimals=4)}: {printable(its.tolerance_source)}"
        yield _wrapped(told, "    ", "      ")
    if len(comparison.runs) > 2:
        yield from _ranking(comparison, its, unit)
    for pair in its.pairs:
        yield from _pair(comparison, pair, unit, full=len(comparison.runs) == 2)


def _ranking(comparison: Comparison, its: Group, unit: LengthUnit) -> Iterator[str]:
    keys = settings_shown(comparison.runs)
    for rank in its.ranking:
        run = comparison.runs[rank.run]
        settings = ", ".join(f"{key} = {keys[rank.run][key]}" for key in keys[rank.run])
        told = f"{_name(comparison, rank.run)}, {printable(run.label)}"
        yield _wrapped(
            f"{told}{f'; {printable(settings)}' if settings else ''}",
            f"    {rank.place:>2}. {length(rank.rmse_m, unit, decimals=4)}  {rank.letters:<6}",
            " " * 22,
        )
    if its.ranking:
        yield "    runs with a common letter are not shown to differ"


def settings_shown(runs: Sequence[RunSide]) -> list[dict[str, str]]:
    """Give the processing settings that are not the same in all runs."""

    def flat(value: object, name: str = "") -> dict[str, str]:
        if isinstance(value, Mapping):
            found: dict[str, str] = {}
            for key, item in value.items():
                found |= flat(item, f"{name}.{key}" if name else str(key))
            return found
        return {name: str(value).lower() if isinstance(value, bool) else str(value)}

    its = [flat(run.processing) for run in runs]
    names = sorted({key for settings in its for key in settings})
    different = [key for key in names if len({settings.get(key) for settings in its}) > 1]
    return [{key: settings.get(key, "-") for key in different} for settings in its]


def _pair(comparison: Comparison, pair: Pair, unit: LengthUnit, *, full: bool) -> Iterator[str]:
    before, after, change = (
        length(value, unit, decimals=4)
        for value in (pair.rmse_before_m, pair.rmse_after_m, abs(pair.change_m))
    )
    change = (
        f"{change} {'smaller' if pair.change_m < 0 else 'larger'}" if pair.change_m else "the same"
    )
    counted = "all patterns counted" if pair.draws is None else f"{pair.draws} patterns drawn"
    p = f"p = {p_text(pair.p)}"
    if pair.p_adjusted != pair.p:
        p += f", {p_text(pair.p_adjusted)} as one of {comparison.settings.tests} tests"
    word = OUTCOME_WORDS[pair.outcome]
    names = (
        ""
        if full
        else f"{_name(comparison, pair.after)} against {_name(comparison, pair.before)}: "
    )
    yield _wrapped(
        f"{names}{word}: RMSE {before} -> {after}, {change}; sign-flip test {p}"
        + (f" ({counted})" if full else ""),
        "    ",
        "      ",
    )
    if not full:
        return
    yield _wrapped(printable(pair.reason), "      because ", " " * 14)
    better, worse = (
        "none however large" if value is None else length(value, unit, decimals=4)
        for value in (pair.smallest_better_m, pair.smallest_worse_m)
    )
    yield _wrapped(
        f"smallest changes of the RMSE that these points show in "
        f"about {comparison.settings.power * 100:.0f} % of cases: {better} better, {worse} worse",
        "      ",
        "        ",
    )
    for axis in pair.axes:
        yield from _axis(axis, unit)


def _axis(its: AxisInfo, unit: LengthUnit) -> Iterator[str]:
    """Bias and spread: information, said to be so."""

    def signed(value: float) -> str:
        return length(value, unit, decimals=4, sign=True)

    told = f"bias {signed(its.mean_before_m)} -> {signed(its.mean_after_m)}"
    if its.shift is not None:
        interval = f"{signed(its.shift.low_m)} to {signed(its.shift.high_m)}"
        told += f", difference {signed(its.shift.mean_m)} ({interval})"
    if its.spread is not None and its.std_before_m is not None and its.std_after_m is not None:
        told += (
            f"; spread {length(its.std_before_m, unit, decimals=4)} -> "
            f"{length(its.std_after_m, unit, decimals=4)}, ratio {its.spread.ratio:.2f} "
            f"({its.spread.low:.2f} to {its.spread.high:.2f}; Pitman-Morgan p = {p_text(its.spread.p)})"
        )
    yield _wrapped(f"information, {its.axis}: {told}", "      ", "        ")


def _claims(comparison: Comparison) -> Iterator[str]:
    for pair in comparison.claims:
        words = [
            "not claimed" if verdict is None else VERDICT_WORDS[verdict]
            for verdict in (pair.before, pair.after)
        ]
        change = f"{words[0]} -> {words[1]}" if pair.flipped else f"{words[1]}, as before"
        run = f"{_name(comparison, pair.run)}, " if len(comparison.runs) > 2 else ""
        about = f"{run}{printable(pair.dataset)}: {printable(pair.standard)}{class_text(pair)}"
        yield _wrapped(about, f"  {change:<30} ", " " * 33)


def class_text(pair: ClaimPair) -> str:
    """Give the class or limits of a claim, with a comma in front."""
    before, after = (
        None if claimed is None else ", ".join(f"{k} = {v}" for k, v in claimed.items())
        for claimed in (pair.claimed_before, pair.claimed_after)
    )
    if before is not None and after is not None and before != after:
        return f", {before or 'no limit'} -> {after or 'no limit'}"
    claimed = after if after is not None else before
    return f", {claimed}" if claimed else ""


def _findings(comparison: Comparison) -> Iterator[str]:
    for severity in (Severity.BLOCKING, Severity.WARNING, Severity.NOTE):
        for finding in comparison.findings:
            if finding.severity is severity:
                about = f"{printable(finding.dataset)}: " if finding.dataset else ""
                yield _wrapped(
                    f"{about}{printable(finding.message)} [{finding.code}]",
                    f"  {severity.value:<9} ",
                    " " * 12,
                )
                if finding.remedy and severity is not Severity.NOTE:
                    yield _wrapped(f"-> {printable(finding.remedy)}", " " * 12, " " * 15)


def how(comparison: Comparison) -> str:
    """Say what a verdict rests on."""
    its = comparison.settings
    if its.same_flight:
        shared = (
            "The runs are of one flight with one trajectory, as declared or by its hash: errors that all "
            "points share are not allowed for."
        )
    else:
        shared = (
            f"Errors that all points of a flight share are allowed for: the larger RMSE must be more than "
            f"{its.least_ratio:g} times the smaller."
        )
    together = f", for all {its.tests} tests together" if its.tests > 1 else ""
    return (
        f"Better or worse is said only where the sign-flip test on the differences of squared residuals is "
        f"significant ({its.level * 100:g} %, two-sided{together}) and the change of the "
        f"RMSE is larger than the tolerance. {shared} Not to show a difference is not to show that there is "
        "none."
    )
