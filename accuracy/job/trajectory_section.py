"""The section ``[trajectory]``: the flown trajectory, held against cloud and base by `accuracy.trajectory`."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Annotated, Any, Literal

from pydantic import Field, PrivateAttr

from accuracy.errors import Problem
from accuracy.job.fields import Epoch, Length, Section, Text, Whole
from accuracy.job.files import JobFile

Data = Mapping[str, Any]
TimeSystem = Literal["gps-seconds-of-week", "gps-adjusted-standard", "gps-seconds", "utc"]


class TrajectoryColumns(Section):
    """Names of columns, where they are not found by the usual names; capital and small letters are alike."""

    time: Text | None = Field(default=None, description="Column of times.")
    easting: Text | None = Field(default=None, description="Column of eastings, or longitudes.")
    northing: Text | None = Field(default=None, description="Column of northings, or latitudes.")
    height: Text | None = Field(default=None, description="Column of heights.")
    roll: Text | None = Field(default=None, description="Column of roll angles.")
    pitch: Text | None = Field(default=None, description="Column of pitch angles.")
    heading: Text | None = Field(
        default=None, description="Column of headings, clockwise from north."
    )
    fix: Text | None = Field(
        default=None, description="Column that says what kind of solution a position is."
    )
    satellites: Text | None = Field(default=None, description="Column of numbers of satellites.")
    pdop: Text | None = Field(default=None, description="Column of PDOP.")
    separation_east: Text | None = Field(
        default=None, description="Column of the difference of forward and reverse solution, east."
    )
    separation_north: Text | None = Field(default=None, description="Likewise, north.")
    separation_up: Text | None = Field(default=None, description="Likewise, up.")
    separation_horizontal: Text | None = Field(
        default=None, description="Instead of east and north: the horizontal difference."
    )
    sigma_east: Text | None = Field(
        default=None, description="Column of standard deviations that the processing states, east."
    )
    sigma_north: Text | None = Field(default=None, description="Likewise, north.")
    sigma_up: Text | None = Field(default=None, description="Likewise, up.")
    sigma_horizontal: Text | None = Field(
        default=None,
        description="Instead of east and north: the horizontal standard deviation, radial.",
    )


class TrajectorySection(Section):
    """The flown trajectory."""

    file: Text = Field(
        description="Table of the trajectory, one row per epoch; relative to the job file."
    )
    crs: Text | None = Field(
        default=None,
        description='Reference system of its positions, compound or 3D, such as "EPSG:6345+5703".',
    )
    epoch: Epoch | None = Field(
        default=None, description="Epoch of the coordinates as decimal year."
    )
    geoid: Text | None = Field(
        default=None, description="Geoid model behind orthometric heights, when known."
    )
    realisation: Text | None = Field(
        default=None, description="Realisation of the frame where crs names an ensemble only."
    )
    time: TimeSystem = Field(
        description="What its times are: gps-seconds-of-week, gps-adjusted-standard (GPS seconds minus 1e9), "
        "gps-seconds (since 1980-01-06) or utc (ISO 8601)."
    )
    week: Annotated[Whole, Field(ge=0, le=9999)] | None = Field(
        default=None,
        description="GPS week of seconds of the week, counted on since 1980. Default: the week of "
        "[job].flown.",
    )
    columns: TrajectoryColumns = Field(
        default_factory=TrajectoryColumns,
        description="Names of columns, where they are not the usual ones.",
    )
    angle_unit: Literal["degree", "radian"] | None = Field(
        default=None, description="Unit of roll, pitch and heading. Default: as named, else degree."
    )
    delimiter: Literal["comma", "semicolon", "tab", "blanks"] | None = Field(
        default=None, description="What separates the columns. Default: found from the header."
    )
    fixed_values: tuple[Text | int, ...] = Field(
        default=(),
        description='Values of the column fix that mean fixed ambiguities, such as [1] or ["Fixed"]. Needed '
        "where it holds numbers, whose meaning differs from program to program.",
    )
    separation_limit_m: Length | None = Field(
        default=None,
        description="Largest accepted difference of forward and reverse solution, horizontally and "
        "vertically, in metres.",
    )
    planned_height_m: Length | None = Field(
        default=None, description="Planned height above the ground, in metres."
    )
    planned_height_tolerance_m: Length | None = Field(
        default=None, description="How far the height flown may be from the plan, in metres."
    )

    _located: JobFile = PrivateAttr()

    @property
    def located(self) -> JobFile:
        """The table as a file on this machine."""
        return self._located


def trajectory_problems(data: Data) -> Iterator[Problem]:
    """Check the section against itself and the date of the flight, on the job as parsed."""
    section = data.get("trajectory")
    if not isinstance(section, dict):
        return
    about = data.get("job")
    flown = isinstance(about, dict) and "flown" in about
    in_weeks = section.get("time") == "gps-seconds-of-week"
    if in_weeks and "week" not in section and not flown:
        yield Problem(
            "trajectory.week",
            "missing",
            "seconds of the week need their week: state it, or flown under [job]",
        )
    if "week" in section and "time" in section and not in_weeks:
        yield Problem(
            "trajectory.week",
            "given for times that carry their own date",
            'only for time = "gps-seconds-of-week": remove it',
        )
    if "planned_height_tolerance_m" in section and "planned_height_m" not in section:
        yield Problem(
            "trajectory.planned_height_m", "missing", "the tolerance needs the planned height"
        )
