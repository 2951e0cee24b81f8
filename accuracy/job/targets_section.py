"""The sections ``[targets]`` and ``[together]``: what is measured by itself, and set against each other."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Annotated, Any, Literal

from pydantic import Field

from accuracy.errors import Problem
from accuracy.job.fields import Number, Section, Text

Data = Mapping[str, Any]
Size = Annotated[Number, Field(gt=0, le=10)]


class TargetsSection(Section):
    """Targets at the checkpoints, measured in clouds and orthophotos by fitting their pattern."""

    pattern: Literal["checkerboard", "disc", "ring", "plate"] | None = Field(
        default=None,
        description="Pattern of every target whose row does not say it: checkerboard (two by two fields), "
        "disc, ring, or plate (raised above the ground).",
    )
    size_m: Size | None = Field(
        default=None,
        description="Side of the square, or outer diameter, in metres, where its row does not say it.",
    )
    inner_m: Size | None = Field(
        default=None,
        description="Inner diameter of a ring, in metres, where its row does not say it.",
    )
    seen_by: Literal["intensity", "colour"] = Field(
        default="intensity",
        description="What tells a painted target from the ground in a point cloud. Plates are told by height.",
    )
    search_m: Annotated[Number, Field(gt=0, le=5)] = Field(
        default=0.5,
        description="How far from the surveyed place a centre is looked for, in metres.",
    )
    ids: tuple[Text, ...] = Field(
        default=(),
        description="Ids of the points that have a target. Default: those whose row names a pattern or, if "
        "none does, all.",
    )


class TogetherSection(Section):
    """The deliverables of the job set against each other at the checkpoints."""

    deliverables: bool = Field(
        default=True, description="Whether cloud, raster and orthophoto are set against each other."
    )
    colour: bool = Field(
        default=True,
        description="Whether the colours of a cloud are set against its intensities.",
    )


def targets_problems(data: Data) -> Iterator[Problem]:
    """Check the section against itself, on the job as parsed."""
    section = data.get("targets")
    if not isinstance(section, dict):
        return
    pattern, size, inner = (section.get(key) for key in ("pattern", "size_m", "inner_m"))
    if pattern == "ring" and inner is None:
        yield Problem("targets.inner_m", "missing", "a ring needs its inner diameter")
    if pattern is not None and pattern != "ring" and inner is not None:
        yield Problem("targets.inner_m", f"given for a {pattern}", "only for a ring: remove it")
    if (
        isinstance(size, (int, float))
        and isinstance(inner, (int, float))
        and not isinstance(inner, bool)
        and inner >= size
    ):
        yield Problem("targets.inner_m", f"found {inner}", f"must be below size_m, {size}")
