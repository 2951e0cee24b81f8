"""Findings: what the reader of a result must know, each with a code from one registry."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from types import MappingProxyType
from typing import Literal

Component = Literal["horizontal", "vertical", "all"]
EvidenceValue = str | int | float | bool | None


class Severity(StrEnum):
    """How much a finding weighs."""

    NOTE = "note"
    WARNING = "warning"
    BLOCKING = "blocking"


#: Every code a finding may carry, with what it tells. Code = area-fact, kebab case. Listed once, here.
CODES: Mapping[str, str] = MappingProxyType(
    {
        # checkpoints: what people hand in
        "checkpoints-cover-assumed": "no land cover stated; taken as non-vegetated",
        "checkpoints-order-assumed": "a column was understood through a synonym or position",
        "checkpoints-column-ignored": "a column of the table is not used",
        "checkpoints-foot-assumed": "a column in feet was read in international feet",
        "checkpoints-decimal-comma": "numbers were read with a decimal comma",
        "checkpoints-encoding-assumed": "the text encoding is not stated and was assumed",
        "checkpoints-commented-point": "a comment looks like a point and was not read",
        "checkpoints-cover-grouped": "a kind of land cover was put into one of the two groups",
        "checkpoints-repeated-place": "two checkpoints stand at the same place",
        "checkpoints-near-control": "a checkpoint stands where a control point stands",
        # files: what a deliverable's own bytes say
        "file-count-differs": "a file's header counts other points than it holds",
        "file-bounds-differ": "points lie outside the box in the file's header",
        "file-record-broken": "a record inside the file cannot be understood and was not used",
        "file-suspect-values": "stored values cannot be right",
        "file-duplicate-points": "identical points were met and counted once",
        "file-overlap": "files of one dataset overlap or disagree about their grid",
        # crs: what is declared about coordinates
        "crs-unknown": "nothing declares the reference system",
        "crs-supplied-by-job": "the reference system is supplied by the job, not by the file",
        "crs-contradiction": "declarations of the reference system contradict each other",
        "crs-unreadable": "a declaration of the reference system cannot be read",
        "crs-differs": "checkpoints and deliverable are in different reference systems",
        "crs-vertical-unknown": "nothing declares what the heights refer to",
        "crs-vertical-differs": "heights of checkpoints and deliverable refer to different things",
        "crs-unit-unknown": "nothing declares the unit",
        "crs-unit-differs": "checkpoints and deliverable are in different units",
        "crs-geoid-differs": "different geoid models stand behind the same vertical datum",
        "crs-geoid-unnamed": "one side does not name the geoid model behind its heights",
        "crs-epoch-differs": "coordinates in a dynamic frame carry different epochs",
        "crs-epoch-missing": "coordinates in a dynamic frame carry no epoch",
        "crs-realisation-unknown": "the frame is an ensemble, known to its stated accuracy only (WGS 84: 2 m)",
        "crs-deprecated": "a deprecated code was used",
        "crs-geographic": "coordinates in degrees, or geocentric, where a plane is needed",
        # sampling: the deliverable's value at a checkpoint
        "sampling-no-height": "checkpoints got no height from the deliverable",
        "sampling-ambiguous": "the triangulation is ambiguous at some checkpoints",
        "sampling-steep": "checkpoints on ground steeper than a standard's siting rule",
        # measured points
        "measured-not-matched": "ids of measured and surveyed points do not match up",
        # claims: what the standard makes of it
        "claim-limit-exceeded": "the limit was exceeded although no statement is possible",
        "claim-too-few-points": "fewer points than the document requires",
        "claim-survey-accuracy": "the survey is not accurate enough for the class, or unknown",
        "claim-mean-error": "the mean error exceeds the share of the limit that the document names",
        "claim-possible-blunder": "an error so large that the document wants it investigated",
        "claim-number-unverified": "a number that decides was not read in the document itself",
        "claim-circular-ratio": "the two horizontal RMSE are too unequal for the circular formula",
        "claim-adjusted-to-points": "the dataset was adjusted to the very points",
        "claim-vegetated-few": "too few or no vegetated points where the document reports them",
        "claim-no-residuals": "no residuals of the kind the claim is about",
        # report
        "result-bias-significant": "the mean error differs from zero by more than chance",
    }
)


@dataclass(frozen=True)
class Finding:
    """One thing the reader must know.

    Attributes
    ----------
    code : str
        A key of `CODES`.
    severity : Severity
        ``blocking`` makes claims on the affected dataset and component ``no-statement``.
    message : str
        The fact, with names and numbers.
    dataset : str or None
        Name of the dataset affected; None means all.
    component : {"horizontal", "vertical", "all"}
        What of it is affected.
    evidence : mapping
        Values that a program may read, units in the key names.
    remedy : str
        What to do; may be empty for a note.
    """

    code: str
    severity: Severity
    message: str
    dataset: str | None = None
    component: Component = "all"
    evidence: Mapping[str, EvidenceValue] = field(default_factory=dict)
    remedy: str = ""

    def __post_init__(self) -> None:
        if self.code not in CODES:
            raise ValueError(
                f"finding code {self.code!r} is not in the registry accuracy.findings.CODES"
            )

    def blocks(self, dataset: str, component: Component) -> bool:
        """Whether this finding forbids a statement on that component of that dataset."""
        return (
            self.severity is Severity.BLOCKING
            and self.dataset in (None, dataset)
            and ("all" in (self.component, component) or self.component == component)
        )
