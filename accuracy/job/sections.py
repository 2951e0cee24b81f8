"""The sections and keys of a job file, declared once: for reading, for messages and for editors."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    PrivateAttr,
    model_validator,
)

from accuracy.job.base import BaseSection
from accuracy.job.fields import Angle, Epoch, Length, Number, Rmse, Section, Text, Whole
from accuracy.job.files import JobFile
from accuracy.job.grids import Grids
from accuracy.job.lines_section import LinesSection
from accuracy.job.local_grid import LocalGridSection
from accuracy.job.targets_section import TargetsSection, TogetherSection
from accuracy.job.trajectory_section import TrajectorySection
from accuracy.job.values import HEIGHT_METHODS, order_mistake
from accuracy.units import LengthUnit

ClaimValue = float | int | str | bool


def _date(value: object) -> object:
    if type(value) is not date:  # a datetime is a date, too
        raise ValueError("must be a date without quotes and without a time, such as 2026-05-14")
    return value


def _order(value: str) -> str:
    if mistake := order_mistake(value):
        raise ValueError(mistake)
    return value.upper()


Order = Annotated[
    str, AfterValidator(_order), Field(json_schema_extra={"pattern": "^[PNEZDpnezd]{4,5}$"})
]


class About(Section):
    """What is printed about the job."""

    title: Text = Field(description="Title of the job, printed on the report.")
    site: str | None = Field(default=None, description="Name of the place, printed.")
    prepared_for: str | None = Field(default=None, description="The client, printed.")
    prepared_by: str | None = Field(default=None, description="The crew or firm, printed.")
    sensor: Text | None = Field(
        default=None, description="The scanner or camera, for the history of results."
    )
    flown: Annotated[date, BeforeValidator(_date)] | None = Field(
        default=None, description="Date of the flight, a TOML date without quotes."
    )
    display_units: LengthUnit = Field(
        default=LengthUnit.METRE,
        description="Unit of printed lengths: metre, foot (international) or us-survey-foot. "
        "Display only; inside it is always metres.",
    )


class Exclusion(Section):
    """A checkpoint left out by the crew."""

    id: Text = Field(description="Id of the checkpoint, as written in its table.")
    reason: Annotated[Text, AfterValidator(str.strip)] = Field(
        description="Why it is left out; printed."
    )


class Checkpoints(Section):
    """The surveyed points."""

    file: Text | None = Field(
        default=None,
        description="Table of checkpoints, relative to the job file. Only accuracy plan does without.",
    )
    crs: Text | None = Field(
        default=None,
        description='Compound or 3D reference system of the table, such as "EPSG:6345+5703"; "local" where '
        "its coordinates are in the local grid.",
    )
    epoch: Epoch | None = Field(
        default=None,
        description="Epoch of the coordinates as decimal year; required where the frame moves.",
    )
    geoid: Text | None = Field(
        default=None, description="Geoid model behind orthometric heights, when known."
    )
    realisation: Text | None = Field(
        default=None,
        description='Realisation of the frame where crs names an ensemble only: "WGS 84 (G2139)" for '
        'EPSG:32613, "ETRF2000" for EPSG:25832.',
    )
    order: Order | None = Field(
        default=None,
        description="Columns of a table without a header: letters P (point), N (northing), E (easting), "
        "Z (height), D (description), such as PNEZD.",
    )
    layer: Text | None = Field(
        default=None, description="Sheet of a workbook, or layer of a GeoPackage, with the points."
    )
    repeats: bool | None = Field(
        default=None,
        description="Whether an id may stand several times, once for each occupation; their mean is the point. "
        "A column occupation says so, too.",
    )
    max_days_from_flight: Annotated[Whole, Field(ge=0)] | None = Field(
        default=None,
        description="Days between survey and flight beyond which a finding tells it. Default 30.",
    )
    survey_rmse_h_m: Rmse | None = Field(
        default=None, description="The survey's own horizontal radial accuracy, RMSE in metres."
    )
    survey_rmse_v_m: Rmse | None = Field(
        default=None, description="The survey's own vertical accuracy, RMSE in metres."
    )
    survey_method: Text | None = Field(
        default=None, description="How the checkpoints were surveyed; free text."
    )
    least_distance_to_control_m: Length | None = Field(
        default=None,
        description="Checkpoints nearer to a control point than this, in metres, are told.",
    )
    control: tuple[Text, ...] = Field(
        default=(),
        description="Ids of points used in processing: never judged. Text, as written in the table.",
    )
    exclude: tuple[Exclusion, ...] = Field(
        default=(), description="Checkpoints left out, each with its reason."
    )

    _located: JobFile | None = PrivateAttr(None)

    @property
    def located(self) -> JobFile:
        """The table as a file on this machine."""
        assert self._located is not None  # only a job read for planning may come without
        return self._located


class Dataset(Section):
    """One deliverable."""

    name: Text = Field(description="Name that claims refer to; printed.")
    kind: Literal["point-cloud", "raster", "measured-points", "orthophoto"] = Field(
        description="What it is: point-cloud, raster (of heights), measured-points (a table of positions "
        "measured in an orthophoto or cloud), or orthophoto (whose targets are measured here)."
    )
    files: tuple[Text, ...] = Field(
        min_length=1,
        description="Files or patterns (*, ?, **), relative to the job file; each matches at least one file.",
    )
    crs: Text | None = Field(
        default=None,
        description='Reference system, only to supply or to assert what the files say; "local" where its '
        "coordinates are in the local grid.",
    )
    epoch: Epoch | None = Field(
        default=None, description="Epoch of the coordinates as decimal year."
    )
    geoid: Text | None = Field(
        default=None, description="Geoid model behind orthometric heights, when known."
    )
    realisation: Text | None = Field(
        default=None,
        description='Realisation of the frame where crs names an ensemble only: "WGS 84 (G2139)" for '
        'EPSG:32613, "ETRF2000" for EPSG:25832.',
    )
    ground_classes: tuple[Annotated[Whole, Field(ge=0, le=255)], ...] = Field(
        default=(), description="Point clouds: classes that count as ground. Default [2]."
    )
    height: Literal["tin", "plane", "neighbourhood-mean", "bilinear", "nearest"] | None = Field(
        default=None,
        description="How the height at a place is taken. Point clouds: tin (default), plane or "
        "neighbourhood-mean of the ground points around it, or nearest. Rasters: bilinear (default) or "
        "nearest.",
    )
    neighbourhood_shape: Literal["circle", "square"] | None = Field(
        default=None,
        description="With plane and neighbourhood-mean: circle (default), or square along the axes of the "
        "deliverable's plane, with the checkpoint in its middle.",
    )
    neighbourhood_across_m: Annotated[Length, Field(ge=0.01, le=1000.0)] | None = Field(
        default=None, description="Diameter of the circle or side of the square, in metres."
    )
    neighbourhood_across_spacings: Annotated[Length, Field(le=1000.0)] | None = Field(
        default=None,
        description="The same in multiples of design_anps_m, instead of neighbourhood_across_m.",
    )
    neighbourhood_least_points: Annotated[Whole, Field(ge=3)] | None = Field(
        default=None,
        description="Fewest ground points in the neighbourhood that give a height. Default: 6 for plane, 3 "
        "for neighbourhood-mean.",
    )
    max_circumradius_m: Length | None = Field(
        default=None,
        description="Point clouds: largest circumradius of a ground triangle that gives a height, in metres. "
        "Default: ten mean spacings, at least 1 m.",
    )
    design_anps_m: Length | None = Field(
        default=None,
        description="Point clouds: spacing the flight was designed for (ANPS), in metres.",
    )
    band: Annotated[Whole, Field(ge=1)] | None = Field(
        default=None, description="Rasters: number of the band that holds heights, from 1."
    )
    targets: Annotated[bool, Field(strict=True)] | None = Field(
        default=None,
        description="Point clouds: false where targets are not to be measured in this one.",
    )
    adjusted_to_points: Annotated[bool, Field(strict=True)] = Field(
        default=False,
        description="True where the dataset was shifted or fitted to these very checkpoints: then no "
        "statement of accuracy is possible.",
    )

    _located: tuple[JobFile, ...] = PrivateAttr()

    @property
    def located(self) -> tuple[JobFile, ...]:
        """The files on this machine, each once, sorted by name."""
        return self._located

    @model_validator(mode="before")
    @classmethod
    def _defaults_of_kind(cls, data: Any) -> Any:
        if not isinstance(data, dict):
            return data
        kind = data.get("kind")
        methods = HEIGHT_METHODS.get(kind, ()) if isinstance(kind, str) else ()
        defaults: dict[str, Any] = {"height": methods[0]} if methods else {}
        if kind == "point-cloud":
            defaults["ground_classes"] = (2,)
        return defaults | data


class Claim(BaseModel):
    """One promise; further keys are those that the standard's file declares."""

    model_config = ConfigDict(
        frozen=True,
        extra="allow",
        json_schema_extra={"additionalProperties": {"type": ["number", "string", "boolean"]}},
    )

    dataset: Text = Field(description="Name of the dataset the claim is about.")
    standard: Text = Field(
        description="Id of a packaged standard, or path of a TOML file with a client's own specification."
    )

    @property
    def keys(self) -> Mapping[str, ClaimValue]:
        """The class or limits claimed, in the order written."""
        return dict(self.model_extra or {})


class Area(Section):
    """The outline of the project."""

    file: Text = Field(
        description="Polygon of the project area, GeoPackage or GeoJSON, relative to the job file."
    )
    layer: Text | None = Field(
        default=None, description="Layer of the GeoPackage, where several hold polygons."
    )
    crs: Text | None = Field(
        default=None,
        description="Reference system of the outline, where its file does not say it. GeoJSON: degrees of "
        "WGS 84 unless it is said otherwise.",
    )

    _located: JobFile = PrivateAttr()

    @property
    def located(self) -> JobFile:
        """The outline as a file on this machine."""
        return self._located


class Report(Section):
    """What the printed report says of itself."""

    number: Text | None = Field(default=None, description="Number of the report; text.")
    revision: Text | None = Field(default=None, description="Revision of the report; text.")
    signer: Text | None = Field(default=None, description="Who signs.")
    licence: Text | None = Field(default=None, description="Licence or registration of the signer.")


class Flight(Section):
    """How the survey is flown; needed only for a prediction, together with [sensor]."""

    height_m: Length = Field(description="Flying height above ground, metres.")
    largest_scan_angle_deg: Annotated[Number, Field(ge=0, lt=80)] = Field(
        description="Largest scan angle that is used, from nadir, degrees."
    )
    ground_slope_deg: Annotated[Number, Field(ge=0, lt=60)] = Field(
        default=0.0, description="Slope of the ground, degrees."
    )


class Sensor(Section):
    """Standard deviations of what a position is computed from; left out: none."""

    gnss_axis_m: Rmse = Field(description="Position of the antenna, each horizontal axis, metres.")
    gnss_height_m: Rmse = Field(description="Height of the antenna, metres.")
    roll_pitch_deg: Angle = Field(description="Roll and pitch after processing, degrees.")
    heading_deg: Angle = Field(description="Heading after processing, degrees.")
    range_m: Rmse = Field(description="Range, metres.")
    boresight_roll_pitch_deg: Angle = Field(
        default=0.0, description="What is left of the boresight in roll and pitch, degrees."
    )
    boresight_heading_deg: Angle = Field(
        default=0.0, description="What is left of the boresight in heading, degrees."
    )
    scan_deg: Angle = Field(default=0.0, description="Scan angle, beam width included, degrees.")
    lever_arm_m: Rmse = Field(default=0.0, description="Lever arm, each axis, metres.")


FreeTable = dict[str, Any]


class Job(Section):
    """A job as read: attributes carry the names of the TOML keys.

    Beside the sections: `path` and `folder` of the job file, `notes` on what was read but is not used.
    """

    job: About = Field(description="What is printed about the job.")
    checkpoints: Checkpoints = Field(description="The surveyed points.")
    dataset: tuple[Dataset, ...] = Field(min_length=1, description="The deliverables to be tested.")
    claim: tuple[Claim, ...] = Field(default=(), description="What is promised, by which standard.")
    area: Area | None = Field(
        default=None, description="Outline of the project; else the footprint of the data is taken."
    )
    grids: Grids = Field(
        default_factory=Grids, description="Where geoid grids for transformations are."
    )
    local_grid: LocalGridSection | None = Field(
        default=None, description="A local site grid, and how it is tied to a reference system."
    )
    flight: Flight | None = Field(
        default=None, description="How the survey is flown, for a prediction."
    )
    sensor: Sensor | None = Field(
        default=None, description="How good the sensor is, for a prediction."
    )
    base: BaseSection | None = Field(
        default=None, description="The GNSS base that the flight was processed from."
    )
    targets: TargetsSection | None = Field(
        default=None, description="Targets at the checkpoints, measured in clouds and orthophotos."
    )
    together: TogetherSection | None = Field(
        default=None, description="The deliverables set against each other at the checkpoints."
    )
    trajectory: TrajectorySection | None = Field(default=None, description="The flown trajectory.")
    lines: LinesSection | None = Field(
        default=None, description="Compare the flight lines of the point clouds with each other."
    )
    processing: FreeTable = Field(
        default_factory=dict,
        description="Settings of the processing, recorded in the result: free keys with text, numbers, true or "
        "false, lists of these, or tables of these. file names one file that the processing software wrote; "
        "it is recorded with its SHA-256.",
    )
    report: Report = Field(
        default_factory=Report, description="What the printed report says of itself."
    )

    _path: Path = PrivateAttr()
    _processing_file: JobFile | None = PrivateAttr(None)
    _added: int = PrivateAttr(0)
    _under: tuple[str, ...] = PrivateAttr(())

    @property
    def path(self) -> Path:
        """The job file."""
        return self._path

    @property
    def folder(self) -> Path:
        """Folder that relative paths start from."""
        return self._path.parent

    @property
    def processing_file(self) -> JobFile | None:
        """The file of settings that the processing software wrote, on this machine."""
        return self._processing_file

    @property
    def under(self) -> tuple[str, ...]:
        """Ids of the documents that the command line asks for, beside those of the job file."""
        return self._under

    def with_claims(self, more: tuple[Claim, ...], under: tuple[str, ...]) -> Job:
        """Give the job with claims and documents that the command line adds; `as_read` keeps them apart."""
        job = self.model_copy(update={"claim": (*self.claim, *more)})
        job._added, job._under = self._added + len(more), (*self._under, *under)
        return job

    def as_read(self) -> dict[str, Any]:
        """Give the job as plain values for JSON: what was written and the defaults that apply.

        Paths stay as written, dates become ISO text; keys that are absent and have no default are left out.
        What the command line added stands under ``command_line``, not among the claims of the job file.
        """
        data = self.model_dump(mode="json", exclude_none=True)
        if self._under:
            own = len(self.claim) - self._added
            data["command_line"] = {"under": list(self._under), "claim": data["claim"][own:]}
            data["claim"] = data["claim"][:own]
        return data


def job_schema() -> dict[str, Any]:
    """Give the JSON Schema (draft 2020-12) of job files, for editors."""
    schema = Job.model_json_schema()
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **schema,
        "title": "accuracy job file",
    }
