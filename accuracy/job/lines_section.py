"""The section ``[lines]``: flight line against flight line, analysed by `accuracy.flightlines`."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Annotated, Any

from pydantic import Field

from accuracy.errors import Problem
from accuracy.job.fields import Length, Number, Section, Text, Whole

Data = Mapping[str, Any]

Class = Annotated[Whole, Field(ge=0, le=255)]
Slope = Annotated[Number, Field(gt=0, lt=60)]


class LinesSection(Section):
    """How flight lines are compared; an empty section is enough to ask for it."""

    datasets: tuple[Text, ...] = Field(
        default=(), description="Names of the point clouds to look at. Default: all of the job."
    )
    design_anps_m: Length | None = Field(
        default=None,
        description="Spacing of pulses that was ordered (ANPS), in metres. Default: that of the dataset, "
        "else that of the document claimed, else what is measured.",
    )
    cell_m: Length | None = Field(
        default=None, description="Side of the cells that planes are fitted in, in metres."
    )
    slope_limit_deg: Slope | None = Field(
        default=None, description="Steeper cells are not assessed, in degrees. Default: 10."
    )
    smooth_limit_m: Length | None = Field(
        default=None,
        description="Cells whose points stray more from a plane are not assessed, in metres (RMS).",
    )
    left_out_classes: tuple[Class, ...] | None = Field(
        default=None, description="Classes that are no hard surface: plants, water, wires, snow."
    )


def lines_problems(data: Data) -> Iterator[Problem]:
    """Check the section against the datasets, on the job as parsed."""
    section = data.get("lines")
    if not isinstance(section, dict):
        return
    datasets = [item for item in data.get("dataset") or () if isinstance(item, dict)]
    clouds = [str(item.get("name")) for item in datasets if item.get("kind") == "point-cloud"]
    listed = ", ".join(clouds) or "none"
    if not clouds and datasets:
        yield Problem("lines", "found without a point cloud", "only point clouds have flight lines")
    named = section.get("datasets")
    for index, name in enumerate(named if isinstance(named, list) else ()):
        if isinstance(name, str) and name not in clouds:
            yield Problem(
                f"lines.datasets[{index}]", f'"{name}" is no point cloud', f"one of: {listed}"
            )
