"""Keeping a client's own specification apart from the published standards."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator, Sequence

from accuracy.errors import Problem
from accuracy.standards.library.records import Standard


def mistaken_for(own: Standard, packaged: Sequence[Standard]) -> tuple[Problem, ...]:
    """Tell what in a client's file could be taken for a published standard.

    It may use neither the id nor the title of a packaged standard, nor the title in its wording ("tested to
    meet ..."), and its numbers are the client's, however they were come by. Case, blanks, punctuation and
    the form of letters do not count.
    """
    problems = [
        Problem("id", f"{own.id!r} is a packaged standard", "give the file an id of its own")
        for other in packaged
        if _core(own.id) == _core(other.id)
    ]
    if not own.id.isprintable():
        problems.append(Problem("id", f"{own.id!r} cannot be printed", "plain letters and digits"))
    texts = {"title": own.full_title, "document": own.document}
    texts |= {f"statement[{i}].text": w.text for i, w in enumerate(own.wordings)}
    texts |= {
        f"statement[{i}].vegetated_text": w.vegetated_text for i, w in enumerate(own.wordings)
    }
    for where, text in texts.items():
        title = next((o.title for o in packaged if _core(o.title) in _core(text)), None)
        if title is not None:
            allowed = "words of the client; what it follows may stand in note"
            problems.append(
                Problem(where, f"{title!r} is the title of a packaged standard", allowed)
            )
    for where, verification in _marks(own):
        if verification != "client":
            allowed = 'write "client"; where a number comes from may stand in cite'
            problems.append(Problem(f"{where}.verification", f"{verification!r} found", allowed))
    return tuple(problems)


def _core(text: str) -> str:
    """Give letters and digits only, in one case and form."""
    plain = unicodedata.normalize("NFKC", text).casefold()
    return "".join(character for character in plain if character.isalnum())


def _marks(standard: Standard) -> Iterator[tuple[str, str]]:
    """Yield the path of every table that has a mark, with the mark."""
    layout = standard.layout
    for name, marks in (
        ("requirement", [entry.verification for entry in standard.requirements]),
        ("report", [entry.verification for entry in standard.reports]),
        ("checkpoints", [entry.verification for entry in standard.minimums]),
        ("survey_method", [entry.verification for entry in standard.survey_methods]),
        ("rule", [entry.verification for entry in standard.rules]),
        ("statement", [entry.verification for entry in standard.wordings]),
        ("worked_example", [entry.verification for entry in standard.worked_examples]),
        ("height_procedure", [p.source.verification for p in standard.procedures]),
        ("area_count", [rule.source.verification for rule in layout.counts]),
        ("confirm", [rule.source.verification for rule in layout.confirm]),
        ("line_rule", [entry.verification for entry in standard.line_rules]),
    ):
        yield from ((f"{name}[{index}]", mark) for index, mark in enumerate(marks))
    for name, single in (
        ("survey", standard.survey),
        ("survey_error", standard.survey_error),
        ("line_spacing", standard.line_spacing),
    ):
        if single is not None:
            yield name, single.verification
    for name, rule in (
        ("control_share", layout.control),
        ("distribution", layout.distribution),
        ("siting", layout.siting),
    ):
        if rule is not None:
            yield name, rule.source.verification
