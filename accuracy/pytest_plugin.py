"""Tests of deliverables with pytest: the fixture ``accuracy_job``.

::

    def test_site(accuracy_job):
        accuracy_job("jobs/site.toml").meets("asprs-2024", vertical_class_cm=5)

A claim that is missed is an ``AssertionError``. One that can have no statement raises `NoStatementError`,
another error: it is never skipped and never passes. pytest loads this module in every project where the
package is installed; what computes is imported only when a test asks for it.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from accuracy.result import ClaimResult, Result


class JobUnderTest:
    """A job whose claims a test states. Made by the fixture ``accuracy_job``."""

    def __init__(self, path: Path, known: dict[object, Result]) -> None:
        self.path = path
        self._known = known

    @property
    def result(self) -> Result:
        """What the job as written gives; computed once in a session."""
        return self._verified(None)

    def meets(
        self, standard: str, *, dataset: str | None = None, **claimed: float | str | bool
    ) -> ClaimResult:
        """Test one claim, whatever the job itself claims.

        Parameters
        ----------
        standard : str
            Packaged id, or path of a client's own file, relative to the job.
        dataset : str, optional
            Name; may be left out where the job has only one.
        claimed
            The keys of the standard, such as ``vertical_class_cm=5``.

        Raises
        ------
        AssertionError
            The claim fails.
        NoStatementError
            No statement is possible.
        AccuracyError
            The job cannot be run, or nothing is claimed that could be met.
        """
        __tracebackhide__ = True
        from accuracy.errors import AccuracyError, JobError, NoStatementError, UsageError
        from accuracy.job import load_job
        from accuracy.job.sections import Claim
        from accuracy.standards.library import check_claim

        try:
            job = load_job(self.path)
        except AccuracyError as error:  # what went wrong inside is of no use in a test report
            raise error.with_traceback(None) from None
        names = [item.name for item in job.dataset]
        if dataset is None and len(names) > 1:
            raise UsageError(
                "the job has several datasets", where=str(self.path), remedy=f"say which: {names}"
            )
        name = names[0] if dataset is None else dataset
        problems = [] if name in names else [_no_dataset(name, names)]
        problems += check_claim(standard, claimed, "meets", job.folder)
        if problems:
            raise JobError(
                "the claim cannot be tested", where=str(self.path), problems=tuple(problems)
            )
        claim = self._verified(Claim(dataset=name, standard=standard, **claimed))
        (found,) = (its for d in claim.datasets for its in d.claims)
        text = _told(self.path, name, found)
        if found.verdict == "no-statement":
            raise NoStatementError(text)
        if found.verdict == "reported":
            raise UsageError(
                f"{standard} sets no limit here, so there is nothing to meet",
                remedy="state a limit by its keys",
            )
        if found.verdict == "fails":
            raise AssertionError(text)
        return found

    def _verified(self, claim: Any) -> Result:
        from accuracy.job import load_job
        from accuracy.pipeline import verify

        key = (self.path, repr(claim))
        if key not in self._known:
            job = load_job(self.path)
            if claim is not None:
                job = job.model_copy(update={"claim": (claim,)})
            self._known[key] = verify(job)
        return self._known[key]


def _no_dataset(name: str, names: list[str]) -> Any:
    from accuracy.errors import Problem

    return Problem("dataset", f"there is no dataset {name!r}", f"name one of {', '.join(names)}")


def _told(path: Path, dataset: str, claim: ClaimResult) -> str:
    """Say what was found, for the one line that a test report shows and the lines below it."""
    from accuracy.reports.words import VERDICT_WORDS, check_text
    from accuracy.units import LengthUnit

    claimed = ", ".join(f"{key} = {value}" for key, value in claim.claimed.items())
    lines = [
        f"{dataset}: {VERDICT_WORDS[claim.verdict]} {claim.standard}, {claimed}",
        *(f"  {check_text(check, LengthUnit.METRE)} [{check.cite}]" for check in claim.checks),
        *([f"  because {claim.reason}"] if claim.reason else []),
        f"  job: {path}",
    ]
    return "\n".join(lines)


@pytest.fixture(scope="session")
def accuracy_job(pytestconfig: pytest.Config) -> Callable[[str | Path], JobUnderTest]:
    """Give a job by its path, relative to pytest's root folder; each is computed once for each claim."""
    known: dict[object, Result] = {}

    def job(path: str | Path) -> JobUnderTest:
        return JobUnderTest(pytestconfig.rootpath / path, known)

    return job
