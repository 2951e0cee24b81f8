"""Several tests at once: adjusted p, and which of many runs are not shown to differ."""

from __future__ import annotations

from collections.abc import Collection, Sequence


def holm(p: Sequence[float]) -> tuple[float, ...]:
    """Adjust p so that the chance of any false alarm among all tests stays at the level of one.

    Parameters
    ----------
    p : sequence of float
        Of the tests, in any order and however they depend on each other.

    Returns
    -------
    tuple of float
        In the order given; each is compared with the level of a single test.

    References
    ----------
    Holm, Scandinavian Journal of Statistics 6 (1979), 65-70.

    Examples
    --------
    >>> holm([0.01, 0.04, 0.03])
    (0.03, 0.06, 0.06)
    """
    adjusted = [1.0] * len(p)
    largest = 0.0
    for rank, index in enumerate(sorted(range(len(p)), key=lambda i: p[i])):
        largest = min(1.0, max(largest, (len(p) - rank) * p[index]))
        adjusted[index] = largest
    return tuple(adjusted)


def tied(count: int, different: Collection[tuple[int, int]]) -> tuple[tuple[int, ...], ...]:
    """Group runs so that no two of a group are shown to differ, each group as large as it can be.

    A run may be in several groups: not to be shown to differ is not to be equal.

    Parameters
    ----------
    count : int
        Number of runs, best first.
    different : collection of (int, int)
        Pairs that are shown to differ.

    Returns
    -------
    tuple of tuple of int
        Groups in the order of their best runs.

    References
    ----------
    Insert and absorb: Piepho, J. Comput. Graph. Stat. 13 (2004), 456-466 (from memory).

    Examples
    --------
    >>> tied(3, {(0, 2)})
    ((0, 1), (1, 2))
    """
    groups = {frozenset(range(count))} if count else set()
    for i, j in sorted(tuple(sorted(pair)) for pair in different):
        for group in [g for g in groups if i in g and j in g]:
            groups.remove(group)
            for without in (group - {i}, group - {j}):
                if not any(without <= other for other in groups):
                    groups = {other for other in groups if not other < without} | {without}
    return tuple(sorted(tuple(sorted(group)) for group in groups))
