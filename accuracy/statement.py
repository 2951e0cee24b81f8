"""The statement: the printed conclusion on one claim, in the document's own wording where it has one.

Only what the verdict allows is said. The word "tested" never stands in a statement that is not possible,
except in a document's own wording for a reduced number of points.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction
from types import MappingProxyType

from accuracy.findings import Severity
from accuracy.standards.judge import Check, Judgement, PartJudgement
from accuracy.standards.library import UNITS, Part, Standard, Wording
from accuracy.stats import COVERS, show_reported
from accuracy.units import LengthUnit

#: What every statement carries.
CAUTIONS: tuple[str, ...] = (
    "This statement holds only for the files named by their SHA-256, at the checkpoints used, at the date "
    "of their survey. It says nothing of other places, of other versions of the files, or of changes of "
    "the ground since.",
    "It is not a survey certificate. It defers to local law and to licensed surveyors; neither this "
    "statement nor the tool that printed it replaces one.",
    "Use of the data for engineering needs the judgement of the professional who is responsible for it.",
)

VERIFICATION: Mapping[str, str] = MappingProxyType(
    {
        "read": "read in the document or an official companion",
        "second-hand": "taken from a quotation or extract of the document",
        "from-memory": "from memory, not verified",
        "derived": "derived from other numbers",
        "client": "set by the client",
    }
)

_OWN_WORDS = "No wording of the document for this case is known; these words are the tool's own."


@dataclass(frozen=True)
class Roll:
    """Who was surveyed and what became of them.

    Attributes
    ----------
    surveyed : int
        Points in the table.
    control : tuple of str
        Ids of points used in processing.
    excluded : tuple of (str, str)
        Id and reason of points left out by the crew.
    without_value : mapping
        Part of a claim to the ids of checkpoints that have no residual for it.
    """

    surveyed: int
    control: tuple[str, ...] = ()
    excluded: tuple[tuple[str, str], ...] = ()
    without_value: Mapping[Part, tuple[str, ...]] = field(
        default_factory=lambda: MappingProxyType({})
    )


@dataclass(frozen=True)
class Context:
    """What the statement must name beside the judgement.

    Attributes
    ----------
    title, dataset : str
        Of the job and of the dataset.
    display_unit : LengthUnit
        Unit for values where the document does not prescribe one.
    files : tuple of (str, str)
        Path and SHA-256 of the files that make up the dataset.
    decimals : int
        Decimals of the dataset's coordinates: values in the display unit are printed with as many (NSSDA,
        section 3.2.3).
    prepared_for, prepared_by : str or None
        People or firms.
    warnings : tuple of str
        What the layers below want to stand in the statement.
    roll : Roll or None
        Who was surveyed; None where that is not known.
    standalone : bool
        With title, files and cautions; False where a page around it prints them once for all claims.
    """

    title: str
    dataset: str
    display_unit: LengthUnit = LengthUnit.METRE
    files: tuple[tuple[str, str], ...] = ()
    decimals: int = 3
    prepared_for: str | None = None
    prepared_by: str | None = None
    warnings: tuple[str, ...] = ()
    roll: Roll | None = None
    standalone: bool = True


def head(title: str, context: Context, own: str = "") -> list[str]:
    """Give the lines above every conclusion; `own` is what a client's own specification is called."""
    lines: list[str] = []
    if context.standalone:
        lines += [context.title, f"Dataset: {context.dataset}", f"Document: {title}"]
        if context.prepared_for:
            lines.append(f"Prepared for: {context.prepared_for}")
        if context.prepared_by:
            lines.append(f"Prepared by: {context.prepared_by}")
    if own:
        lines.append(f"Judged by the {own}; it is no published standard.")
    return lines


def compose(standard: Standard, judgement: Judgement, context: Context) -> str:
    """Write the statement of one claim.

    Parameters
    ----------
    standard : Standard
        The document the claim cites; its wording is filled in where the verdict allows it.
    judgement : Judgement
        From `accuracy.standards.judge.judge`.
    context : Context
        Names, files, unit.

    Returns
    -------
    str
        Paragraphs separated by line breaks; no trailing line break.
    """
    lines = head(judgement.title, context, standard.label if standard.client_file else "")
    for part in judgement.parts:
        lines += _part_lines(standard, judgement, part, context)
        if context.roll is not None:
            lines.append(_called(context.roll, part.part))
        lines.append(f"Checkpoints used for the {part.part} accuracy: {_counts(part)}.")
        lines += [f"{note[0].upper()}{note[1:]}." for note in part.notes]
    lines += [f"Assumed: {assumption}." for assumption in judgement.assumptions]
    remarks = dict.fromkeys(_remarks(judgement, context))
    lines += [f"Remark: {_one_line(remark)}." for remark in remarks]
    marks = list(dict.fromkeys(_marks(standard, judgement)))
    if marks:
        lines += ["Sources of what decides:", *(f"- {mark}" for mark in marks)]
    if context.standalone:
        lines += [f"File: {path}, SHA-256 {digest}" for path, digest in context.files]
        lines += CAUTIONS
    return "\n".join(lines)


def _part_lines(
    standard: Standard, judgement: Judgement, part: PartJudgement, context: Context
) -> list[str]:
    name = f"the {part.part} accuracy"
    if part.statement_kind in ("tested", "reported"):
        for kind in ("tested", "reported") if part.verdict == "passes" else ("reported",):
            wording = standard.wording(kind, part.part)
            words = wording and _filled(wording, judgement, part, context)
            if words and kind == "reported" and part.verdict == "passes":
                return [f"{words}.", f"The limit that was claimed is met: {_found(part, context)}."]
            if words:
                return [words if words.endswith(".") else f"{words}."]
        found = _found(part, context)
        if part.verdict == "passes":
            text = f"Tested against {judgement.title}{_class(judgement)}, {name} meets every limit: {found}."
        else:
            text = f"Tested by {judgement.title} without a limit, {name} was found to be: {found}."
        return [text, _OWN_WORDS]
    if part.statement_kind == "failed":
        found = _found(part, context)
        text = f"Tested against {judgement.title}{_class(judgement)}, {name} does not meet the limit: {found}."
        return [text, _OWN_WORDS]
    reasons = "; ".join(part.reasons)
    lines = [f"No statement of accuracy is possible for {name} by {judgement.title}: {reasons}."]
    wording = standard.wording("reduced", part.part) if part.statement_kind == "reduced" else None
    words = wording and _filled(wording, judgement, part, context)
    if words:
        return [*lines, f"The document's words for a reduced number of checkpoints: {words}"]
    found = _found(part, context)
    return [*lines, f"Found, for information only: {found}."] if found else lines


def _one_line(text: str) -> str:
    """Join the lines of what people wrote, so that it cannot look like lines of the statement."""
    return " ".join(text.split())


def _called(roll: Roll, part: Part) -> str:
    """Say how many points were surveyed, and name each that does not count, with the reason."""
    missing = roll.without_value.get(part, ())
    entries = [
        ("control", roll.control),
        ("excluded", tuple(f"{id_}: {_one_line(reason)}" for id_, reason in roll.excluded)),
        (f"without a value for the {part} accuracy", missing),
    ]
    told = [
        f"; {what} {len(names)}" + f" ({'; '.join(names)})" * bool(names) for what, names in entries
    ]
    return f"Surveyed {roll.surveyed}{''.join(told)}."


def _counts(part: PartJudgement) -> str:
    """Give the number of points behind the checks, by land cover where that counts."""
    counts = {check.cover: check.n for check in part.checks.values() if check.cover in COVERS}
    if set(counts) == {"all"}:
        return str(counts["all"])
    by_cover = ", ".join(f"{n} {cover}" for cover, n in counts.items())
    return by_cover if len(counts) == 1 else f"{sum(counts.values())} ({by_cover})"


def _class(judgement: Judgement) -> str:
    claimed = ", ".join(f"{key} = {_plain(value)}" for key, value in judgement.claimed.items())
    return f" ({claimed})" if claimed else ""


def _plain(value: float | int | str | bool) -> str:
    """Give a claimed value as a person would write it."""
    return value if isinstance(value, str) else format(Decimal(str(value)).normalize(), "f")


def _unit(unit: str, context: Context) -> tuple[Fraction, int]:
    """Give the length of the unit in metres and the decimals for values in it."""
    if unit == "display":
        return context.display_unit.metres, context.decimals
    per_unit = UNITS[unit]
    finer = {"cm": 2, "mm": 3}.get(unit, 0)
    return per_unit, max(context.decimals - finer, 1)


def _text(check: Check, per_unit: Fraction, decimals: int) -> str | None:
    if check.value is None:
        return None
    return show_reported(check.value, check.limit, check.operator or "<=", decimals, per_unit)[0]


def _filled(
    wording: Wording, judgement: Judgement, part: PartJudgement, context: Context
) -> str | None:
    """Fill the document's words in; None where a value they need is missing."""
    per_unit, decimals = _unit(wording.unit, context)
    values: dict[str, str | None] = {
        id_: _text(check, per_unit, decimals) for id_, check in part.checks.items()
    }
    values |= {key: _plain(value) for key, value in judgement.claimed.items()}
    values["n"] = str(part.n)
    values["minimum"] = None if part.minimum is None else str(part.minimum)
    values["unit"] = context.display_unit.print_name
    text = _format(wording.text, values)
    if text is None or not wording.vegetated_text:
        return text
    if not any(check.cover == "vegetated" and check.n for check in part.checks.values()):
        return f"{text} No vegetated checkpoints were used."
    more = _format(wording.vegetated_text, values)
    return text + (more or " The value at the vegetated checkpoints is not known.")


def _format(text: str, values: Mapping[str, str | None]) -> str | None:
    known = {name: value for name, value in values.items() if value is not None}
    try:
        return text.format(**known)
    except KeyError:
        return None


def _found(part: PartJudgement, context: Context) -> str:
    """Give the values with their limits, in the display unit."""
    unit, per_unit = context.display_unit, context.display_unit.metres
    parts = []
    for check in part.checks.values():
        if check.value is None:
            continue
        survey = ", survey error included" if check.survey_error_included else ""
        value, limit = show_reported(
            check.value, check.limit, check.operator or "<=", context.decimals, per_unit
        )
        if limit is None:
            parts.append(f"{check.name} {value} {unit.print_name} ({check.n} checkpoints{survey})")
            continue
        sign = "within" if check.passes else "beyond"
        parts.append(
            f"{check.name} {value} {unit.print_name}, {sign} the limit of {limit} {unit.print_name} "
            f"({check.n} checkpoints{survey})"
        )
    return "; ".join(parts)


def _remarks(judgement: Judgement, context: Context) -> Iterator[str]:
    reasons = {reason for part in judgement.parts for reason in part.reasons}
    for finding in judgement.findings:
        told = any(finding.message.endswith(reason) for reason in reasons)
        marked = (
            finding.code == "claim-number-unverified"
        )  # the sources below say it number by number
        if finding.severity is not Severity.NOTE and not told and not marked:
            yield finding.message
    yield from context.warnings


def _marks(standard: Standard, judgement: Judgement) -> Iterator[str]:
    """Say of every number and wording that decides how it was come by."""
    for part in judgement.parts:
        for check in part.checks.values():
            if check.limit is not None or part.verdict == "reported":
                yield f"{check.name}: {check.cite}, {VERIFICATION[check.verification]}"
        for rule in standard.minimums:
            if rule.part == part.part and rule.binding:
                mark = VERIFICATION[rule.verification]
                yield f"minimum of {rule.minimum} checkpoints: {rule.cite}, {mark}"
        if standard.survey is not None and standard.survey.binding:
            mark = VERIFICATION[standard.survey.verification]
            yield f"survey {standard.survey.ratio:g} times better: {standard.survey.cite}, {mark}"
        formula = standard.survey_error
        if formula is not None and any(c.survey_error_included for c in part.checks.values()):
            yield f"survey error included: {formula.cite}, {VERIFICATION[formula.verification]}"
        kinds = {
            "tested": ("tested", "reported"),
            "reported": ("reported",),
            "reduced": ("reduced",),
        }
        wordings = [standard.wording(k, part.part) for k in kinds.get(part.statement_kind, ())]
        wording = next((w for w in wordings if w is not None), None)
        if wording is not None:
            yield f"wording: {wording.cite}, {VERIFICATION[wording.verification]}"
