"""The reference system that the file of a table states itself, held against what the job says."""

from __future__ import annotations

from accuracy.findings import Finding
from accuracy.georeferencing.declaration import declared
from accuracy.georeferencing.evidence import supplement
from accuracy.georeferencing.record import Reference


def of_table(
    crs: str | None, job: Reference | None, where: str
) -> tuple[Reference, tuple[Finding, ...]]:
    """Give what the coordinates of a table refer to.

    Parameters
    ----------
    crs : str or None
        What the file says of itself; text files say nothing.
    job : Reference or None
        What the job says. Where it contradicts the file, a blocking finding tells it.
    where : str
        The table, for messages.

    Raises
    ------
    ReferenceSystemError
        What the file says is no reference system.
    """
    if crs is None:
        return job or Reference("unknown"), ()
    return supplement(declared(crs, where=where), job, where)
