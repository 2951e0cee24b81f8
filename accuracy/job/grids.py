"""The section of a job that says where geoid grids are."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Annotated, Any

from pydantic import BeforeValidator, Field

from accuracy.errors import Problem
from accuracy.job.fields import Section, Text
from accuracy.job.files import located


def _as_list(value: object) -> object:
    return [value] if isinstance(value, str) else value


class Grids(Section):
    """Where grids for transformations are looked for."""

    folder: Annotated[tuple[Text, ...], BeforeValidator(_as_list)] = Field(
        default=(),
        description="Folder, or list of folders, that hold geoid grids; relative to the job file.",
        json_schema_extra={"type": ["string", "array"]},
    )
    geoid_files: dict[str, Text] = Field(
        default_factory=dict,
        description="Name of a geoid model to the name of its grid file, where it is not the customary one.",
    )

    def folders(self, job_folder: Path) -> tuple[Path, ...]:
        """Give the folders on this machine."""
        return tuple(located(job_folder, written) for written in self.folder)


def grids_problems(data: Mapping[str, Any], folder: Path) -> Iterator[Problem]:
    """Find folders of grids that are not there."""
    section = data.get("grids")
    if not isinstance(section, dict):
        return
    written = _as_list(section.get("folder"))
    for index, name in enumerate(written if isinstance(written, list) else ()):
        if isinstance(name, str) and name and not located(folder, name).is_dir():
            where = (
                f"grids.folder[{index}]" if isinstance(section["folder"], list) else "grids.folder"
            )
            yield Problem(
                where,
                f'there is no folder "{name}"',
                "name a folder that holds geoid grids, relative to the job file",
            )
