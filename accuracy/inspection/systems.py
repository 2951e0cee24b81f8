"""Every declaration of a reference system side by side, and all of them together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from accuracy.findings import Finding
from accuracy.formats import CrsEvidence
from accuracy.georeferencing.reference import UNKNOWN, Reference, interpret
from accuracy.inspection.record import CrsSource


def read_sources(
    evidence: Sequence[CrsEvidence],
) -> tuple[tuple[CrsSource, ...], Reference, tuple[Finding, ...]]:
    """Read each declaration alone, then all together.

    Returns
    -------
    sources : tuple of CrsSource
        In the order of the file.
    reference : Reference
        All together, as a comparison would take them.
    findings : tuple of Finding
        What reading them together brought up.
    """
    sources = []
    for item in evidence:
        # alone: which record the header prefers is no matter of the record itself
        alone, said = interpret((replace(item, preferred=None),))
        nothing = alone.wkt is None and replace(alone, sources=()) == replace(UNKNOWN, sources=())
        told = "; ".join(finding.message.removeprefix(f"{item.where}: ") for finding in said)
        sources.append(
            CrsSource(evidence=item, reference=None if nothing else alone, problem=told or None)
        )
    reference, findings = interpret(evidence)
    return tuple(sources), reference, findings
