"""What the sections of a job file are made of: the base of all sections, and kinds of single values."""

from __future__ import annotations

from typing import Annotated

from pydantic import AfterValidator, BaseModel, ConfigDict, Field

from accuracy.job.values import FIRST_EPOCH_YEAR, epoch_mistake


def _epoch(value: float) -> float:
    if mistake := epoch_mistake(value):
        raise ValueError(mistake)
    return value


def _not_blank(value: str) -> str:
    if value and not any(c.isprintable() and not c.isspace() for c in value):
        raise ValueError("must not be blank")
    return value


Text = Annotated[str, Field(min_length=1), AfterValidator(_not_blank)]
Whole = Annotated[int, Field(strict=True)]
Number = Annotated[float, Field(strict=True)]
Length = Annotated[float, Field(strict=True, gt=0)]
Rmse = Annotated[float, Field(strict=True, ge=0)]
Angle = Annotated[float, Field(strict=True, ge=0, lt=45)]
Epoch = Annotated[
    float,
    Field(strict=True, json_schema_extra={"minimum": FIRST_EPOCH_YEAR}),
    AfterValidator(_epoch),
]


class Section(BaseModel):
    """A table of the job file; unknown keys are refused."""

    model_config = ConfigDict(frozen=True, extra="forbid")
