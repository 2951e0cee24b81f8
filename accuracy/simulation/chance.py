"""Random numbers that depend on a seed and a number of one's own, not on the order of asking.

So a pulse has the same noise whether the whole cloud is made or only the points near a checkpoint.

References
----------
The mixing function is SplitMix64 (G. Steele, D. Lea, C. Flood, "Fast splittable pseudorandom number
generators", 2014; constants from memory, compared with a published sequence in the tests).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
_GOLDEN = np.uint64(0x9E3779B97F4A7C15)


def mixed(value: NDArray[np.uint64]) -> NDArray[np.uint64]:
    """Mix the bits of 64-bit integers."""
    with np.errstate(over="ignore"):
        z = value + _GOLDEN
        z = (z ^ (z >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
        z = (z ^ (z >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
        return z ^ (z >> np.uint64(31))


def uniform(seed: int, stream: int, number: NDArray[np.uint64]) -> Array:
    """Uniform numbers between 0 and 1, both excluded, one for each `number`."""
    key = mixed(mixed(np.array([seed], dtype=np.uint64)) ^ np.uint64(stream))
    bits = mixed(mixed(number) ^ key) >> np.uint64(11)
    return (bits.astype(np.float64) + 0.5) * 2.0**-53


def normal(seed: int, stream: int, number: NDArray[np.uint64]) -> Array:
    """Give standard normal numbers, one for each `number`."""
    from scipy.special import ndtri

    return np.asarray(ndtri(uniform(seed, stream, number)))


def gauss_markov(
    random: np.random.Generator, count: int, step_s: float, sigma: tuple[float, ...], time_s: float
) -> Array:
    """First-order Gauss-Markov processes, shape (count, len(sigma)).

    Stationary from the first value on: standard deviation `sigma`, autocorrelation exp(-lag / time_s).
    """
    keep = float(np.exp(-step_s / time_s))
    drive = random.normal(size=(count, len(sigma)))
    drive[1:] *= np.sqrt(1.0 - keep * keep)
    out = np.empty_like(drive)
    state = np.zeros(len(sigma))
    for k in range(count):
        state = keep * state + drive[k] if k else drive[0]
        out[k] = state
    return np.asarray(out * np.array(sigma))
