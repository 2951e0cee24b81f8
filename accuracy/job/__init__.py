"""The job: what is claimed about which files, read from TOML.

``values`` holds the rules for single values, ``files`` finds what paths and patterns name, ``sections``
declares the keys, ``mistakes`` tells what is wrong with a job, ``loading`` does the reading. The names below
are loaded when first used, so that the rules for values cost nothing to import.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from accuracy.job.files import JobFile
    from accuracy.job.loading import load_job
    from accuracy.job.sections import Job, job_schema

_HOME = {
    "Job": "accuracy.job.sections",
    "JobFile": "accuracy.job.files",
    "job_schema": "accuracy.job.sections",
    "load_job": "accuracy.job.loading",
}

__all__ = ["Job", "JobFile", "job_schema", "load_job"]


def __getattr__(name: str) -> Any:
    if name in _HOME:
        return getattr(importlib.import_module(_HOME[name]), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
