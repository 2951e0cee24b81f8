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
        "checkpoints-near-control": "a checkpoint stands where a control point stands, or too near to it",
        "checkpoints-same-spot": "checkpoints stand so near to each other that they test the same spot",
        "checkpoints-ids-alike": "ids that differ in capital and small letters only",
        "checkpoints-repeats": "points were occupied several times, and what their scatter is",
        "checkpoints-repeats-worse": "the stated survey accuracy is better than repeated occupations support",
        "checkpoints-repeats-unstated": "repeated occupations show what is not stated of the survey",
        "checkpoints-date": "points were surveyed long before or after the flight",
        "checkpoints-date-unread": "the date of a survey cannot be read",
        "checkpoints-photograph": "a photograph that the table names cannot be shown",
        "checkpoints-survey-zero": "the survey's own accuracy is stated as exactly zero",
        # base: the GNSS base that the flight was processed from
        "base-antenna": "the antenna on the mark is not named, not known, or papers disagree about it",
        "base-antenna-model": "a calibration of another antenna, or none, was applied at the base",
        "base-autonomous": "the held coordinates look like the receiver's own position",
        "base-distance": "the base is far from the site, or much higher or lower",
        "base-frame": "the frame that the base was held in, against that of the deliverables",
        "base-gaps": "the record of the base has gaps",
        "base-header": "the header of the observation file lacks records, or says what cannot be right",
        "base-height": "the antenna height that was used is not the one that was measured",
        "base-height-readings": "two readings of the antenna height disagree",
        "base-held-differs": "the held coordinates are not the published ones",
        "base-interval": "the base recorded too seldom",
        "base-not-comparable": "held and published coordinates cannot be compared",
        "base-not-stated": "what is needed to check the base is not stated",
        "base-position-far": "the header of the observation file is of another place",
        "base-record": "the record of the base does not cover the flight",
        "base-same-for-survey": "the checkpoints were surveyed from the same base: the test is relative",
        "base-site-log": "the site log and the job disagree",
        "base-solution": "a solution of the mark is weak, or solutions disagree",
        "base-time-system": "time system or leap seconds of the base's record",
        "base-velocity": "motion between held and published coordinates was not applied",
        # files: what a deliverable's own bytes say
        "file-count-differs": "a file's header counts other points than it holds",
        "file-bounds-differ": "points lie outside the box in the file's header",
        "file-record-broken": "a record inside the file cannot be understood and was not used",
        "file-suspect-values": "stored values cannot be right",
        "file-duplicate-points": "identical points were met and counted once",
        "file-is-checkpoint-table": "a file to be tested is the table of checkpoints itself",
        "file-hierarchy-incomplete": "the octree of a COPC file does not lead to all its points",
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
        # local grid: a site grid and how it is tied to a reference system
        "local-grid-fitted": "a local grid was fitted to pairs of points",
        "local-grid-redundancy": "nothing checks the pairs that a local grid was fitted to",
        "local-grid-tolerance": "residuals of the fit exceed the tolerance that the job states",
        "local-grid-scale": "the scale of a local grid, held against grid-to-ground at the site",
        "local-grid-shared-points": "points that tie the local grid are checkpoints, too",
        "local-grid-no-heights": "the local grid does not tie heights",
        "local-grid-outside": "points lie far outside the pairs that tie the local grid",
        # transformation: carrying checkpoints to the deliverable's frame
        "transform-no-operation": "no named operation links the two frames",
        "transform-ensemble": "a datum ensemble cannot be carried to another frame",
        "transform-epoch-missing": "an operation depends on time, and no epoch is stated",
        "transform-velocity": "the motion of points between two epochs was not applied",
        "transform-accuracy-unknown": "the accuracy of a step is not stated",
        "transform-unsupported": "coordinates of this kind cannot be transformed",
        "transform-geoid-unnamed": "a geoid model is needed and not named",
        "transform-geoid-unfit": "the geoid model does not belong to the vertical datum",
        "transform-geoid-frame-assumed": "to which frame a geoid model belongs is not known",
        "transform-grid-missing": "a grid file is needed and not there",
        "transform-grid-unreadable": "a grid file cannot be read",
        "transform-outside-grid": "points lie outside the grid",
        "transform-no-data": "points lie beside nodes of the grid that have no data",
        "transform-outside-area": "points lie outside the area of use",
        "transform-not-finite": "a transformation gave no finite number",
        # inspect: what looks wrong in a file by itself
        "inspect-axes": "easting and northing look swapped",
        "inspect-band": "nothing says which band holds the heights",
        "inspect-cells": "how the cells of a raster lie, where it is not the plain way",
        "inspect-coarse": "coordinates are stored in coarse steps",
        "inspect-columns": "the columns of a table are not understood",
        "inspect-empty": "the file holds no points, or no cells with data",
        "inspect-feet": "coordinates in feet, and what the other foot would change",
        "inspect-foot-kind": "a unit is called foot and it is not said which",
        "inspect-heights": "heights that no ground has",
        "inspect-mixed-units": "heights are in another unit than the plane",
        "inspect-no-data": "numbers that usually stand for no data are not declared so",
        "inspect-no-ground": "no point is classified as ground",
        "inspect-no-lines": "flight lines are not told apart",
        "inspect-normalised": "heights look like heights above ground",
        "inspect-order": "a table without a header, whose order of columns nothing says",
        "inspect-place": "coordinates do not fall where their reference system is used",
        "inspect-stray": "points lie far from all others",
        "inspect-stretched": "lengths in the reference system are not those on the ground",
        "inspect-time": "GPS times are missing, or not of the kind the header names",
        "inspect-unreadable": "the header can be read, points or cells cannot",
        "inspect-unusable": "nothing can be taken from the file as it is",
        # sampling: the deliverable's value at a checkpoint
        "sampling-no-height": "checkpoints got no height from the deliverable",
        "sampling-noise-not-ground": "a noise class stands among the ground classes; it is not ground",
        "sampling-ambiguous": "the triangulation is ambiguous at some checkpoints",
        # layout: number and places of the checkpoints, as the document of a claim wants them
        "layout-outside": "checkpoints lie outside the area",
        "layout-few-for-area": "fewer checkpoints than the document wants for the size of the area",
        "layout-few-for-control": "fewer checkpoints than the document wants beside the control points",
        "layout-quadrants": "a quadrant of the area holds too few of the checkpoints",
        "layout-spacing": "checkpoints are nearer to each other than the document wants",
        "layout-steep": "checkpoints on ground steeper than the document's own siting rule",
        "layout-rough": "the ground at checkpoints deviates from a plane by more than the document allows",
        "area-points-outside": "control or checkpoints without a claim lie outside the outline of the project",
        "area-coverage": "what share of the outline of the project a deliverable covers",
        "area-approximate": "the outline of the area was carried to the deliverable without its frame",
        "area-unusable": "the outline of the area cannot be used",
        # plan: where checkpoints are to be surveyed
        "plan-no-surface": "no elevation raster shows where the ground is flat",
        "plan-steep": "planned points stand on ground steeper than wanted, for want of better",
        "plan-uneven": "the area has no room for points that keep quadrants and spacing",
        "plan-not-flown": "nothing is delivered yet: planned by what the job declares",
        "plan-control-unknown": "where control points stand in the area is not known",
        # measured points
        "measured-not-matched": "ids of measured and surveyed points do not match up",
        "measured-no-differences": "measured and surveyed coordinates are the same everywhere",
        # targets: patterns measured in the deliverables themselves, and deliverables against each other
        "target-refused": "targets gave no centre, each with its reason",
        "target-lines-disagree": "flight lines place a target differently",
        "target-not-stated": "which target lies at a point, or its size, is not stated",
        "together-differs": "two deliverables of the job differ by more than chance at the checkpoints",
        "together-colour-offset": "colours of a cloud lie aside of its intensities",
        # trajectory: the flown way, held against itself, the cloud and the base
        "trajectory-columns": "how the columns of a trajectory were understood, where that was assumed",
        "trajectory-values-missing": "optional columns of a trajectory have rows without a number",
        "trajectory-time-order": "times of a trajectory repeat or go back",
        "trajectory-week-assumed": "the GPS week of a trajectory was taken from elsewhere",
        "trajectory-time-offset": "times of trajectory and cloud or base do not fit as they are declared",
        "trajectory-cloud-time": "GPS times of the cloud are missing, or not of the kind its header names",
        "trajectory-cloud-outside": "points of the cloud lie outside the time of the trajectory",
        "trajectory-base-outside": "the record of the base does not cover the trajectory",
        "trajectory-gap": "a trajectory has gaps",
        "trajectory-fix-unknown": "which positions have fixed ambiguities is not known",
        "trajectory-not-fixed": "positions without fixed ambiguities",
        "trajectory-separation": "forward and reverse solution differ",
        "trajectory-frame": "the trajectory cannot be carried to the frame of the cloud",
        "trajectory-ground": "the ground below a trajectory is not known",
        "trajectory-height": "the height above the ground is not the planned one, or impossible",
        "trajectory-speed": "a trajectory jumps, or shows impossible speeds",
        "trajectory-lines": "the headings of the flight lines leave errors undetected",
        "trajectory-attitude": "roll, pitch or heading cannot be right",
        # lines: flight line against flight line
        "lines-anps-measured": "voids and distribution were judged with the measured spacing",
        "lines-by-time": "flight lines were not told by point source ids",
        "lines-drift": "heights of the flight lines change with time",
        "lines-duplicates": "points are stored twice",
        "lines-gap": "a flight line pauses",
        "lines-literal": "the literal raster formula could not be computed",
        "lines-none-shared": "no two flight lines can be compared",
        "lines-order": "points are not stored in order of time",
        "lines-pairs-untested": "pairs of flight lines share too little hard ground to be compared",
        "lines-roll": "every flight line is tilted across its flight",
        "lines-stray": "points that belong to no flight line",
        "lines-untimed": "points without a time",
        "lines-unit-assumed": "lengths of a cloud without a declared unit were taken as metres",
        # claims: what the standard makes of it
        "claim-height-procedure": "heights were not taken as the document does, or that is not known",
        "claim-limit-exceeded": "the limit was exceeded although no statement is possible",
        "claim-too-few-points": "fewer points than the document requires",
        "claim-survey-accuracy": "the survey is not accurate enough for the class, or unknown",
        "claim-mean-error": "the mean error exceeds the share of the limit that the document names",
        "claim-possible-blunder": "an error so large that the document wants it investigated",
        "claim-number-unverified": "a number that decides was not read in the document itself",
        "claim-circular-ratio": "the two horizontal RMSE are too unequal for the circular formula",
        "claim-adjusted-to-points": "the dataset was adjusted to the very points",
        "claim-beyond-sensor": "the sensor cannot be expected to keep a limit that is claimed",
        "claim-vegetated-few": "too few or no vegetated points where the document reports them",
        "claim-no-residuals": "no residuals of the kind the claim is about",
        "claim-lines-remarked": "what a document wants of flight lines without letting it decide is not kept",
        "claim-lines-literal": "the literal formula of a document is beyond its limit, the scatter is not",
        "claim-lines-one-pair": "one pair of flight lines is beyond the limit that all together keep",
        # compare: two runs on the same checkpoints
        "compare-checkpoint-lost": "checkpoints of the first run are not judged in a later one",
        "compare-checkpoint-moved": "a checkpoint has other surveyed coordinates in another run",
        "compare-positions-unknown": "nothing shows whether checkpoints of two runs are the same places",
        "compare-cover-changed": "a checkpoint belongs to another land cover in another run",
        "compare-dataset-missing": "a dataset is not in every run",
        "compare-dataset-by-order": "datasets of different names were compared, the only one of each run",
        "compare-no-common": "runs have no common checkpoints for what is claimed",
        "compare-no-limit": "nothing is claimed that a tolerance could follow from",
        "compare-claim-dropped": "a claim of the first run is not made in a later one",
        "compare-same-run": "one result was handed in twice",
        "compare-one-trajectory": "all runs rest on one trajectory",
        # recheck: a finished result held against itself and the delivered files
        "recheck-digest": "a record is not as it was written",
        "recheck-signature": "a signature is missing or another",
        "recheck-picture": "a picture beside a record is missing or another",
        "recheck-file-differs": "a file is not the one that was tested",
        "recheck-file-missing": "a file that was tested is not there",
        "recheck-file-renamed": "a file that was tested has another name",
        "recheck-file-extra": "files were delivered that nobody tested",
        "recheck-figures": "figures do not follow from the residuals",
        "recheck-verdict": "verdicts do not follow from the residuals",
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
