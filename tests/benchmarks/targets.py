"""How well targets, orthophoto targets and colour offsets are measured: simulated, with known truth.

``python tests/benchmarks/targets.py [seeds] [part ...]`` prints a table. Truth: the simulation in
`accuracy.simulation.targets` and `photographs`, which shoots rays at exact geometry and knows nothing of the
fitted model. Limits: the table of what the project promises for targets.
"""

from __future__ import annotations

import collections
import math
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from accuracy.sampling.colour_offset import Patch, PatchOffset, mean_offset, patch_offset
from accuracy.sampling.targets import Centre, Outcome, TargetSpec
from accuracy.sampling.targets.cloud import FULL_SCALES, USUAL_BLUR_M
from accuracy.sampling.targets.fit import Setting, fit_target
from accuracy.sampling.targets.image import measure_in_photo
from accuracy.sampling.targets.likelihood import Values
from accuracy.simulation.photographs import Camera, Photograph, photograph
from accuracy.simulation.targets import Beam, PaintedTarget, TargetReturns, Texture, scan_target
from accuracy.targets.together import COLOUR_CHANCE

SIZE_M, INNER_M, RAISED_M = 0.5, 0.3, 0.25
SETTING = Setting(math.log(USUAL_BLUR_M), full_scales=FULL_SCALES)
GROUNDS = (Texture(), Texture(0.3, 0.1), Texture(0.5, 0.3), Texture(0.5, 0.8))


@dataclass
class Tally:
    """Errors of many seeds: along both axes, metres, and as multiples of their standard error."""

    errors_m: list[tuple[float, float]] = field(default_factory=list)
    scaled: list[tuple[float, float]] = field(default_factory=list)
    refused: collections.Counter[str] = field(default_factory=collections.Counter)

    def add(self, outcome: Outcome, truth: PaintedTarget) -> None:
        """Take note of one outcome."""
        if not isinstance(outcome, Centre):
            self.refused[outcome.reason] += 1
            return
        error = outcome.east_m - truth.east_m, outcome.north_m - truth.north_m
        self.errors_m.append(error)
        self.scaled.append((error[0] / outcome.sigma_east_m, error[1] / outcome.sigma_north_m))

    @property
    def bias_m(self) -> float:
        """Larger of the mean errors along both axes."""
        return float(np.abs(np.mean(self.errors_m, axis=0)).max())

    @property
    def rmse_m(self) -> float:
        """Per axis."""
        return float(np.sqrt(np.mean(np.square(self.errors_m))))

    @property
    def covered(self) -> float:
        """Share of the 95 % intervals that hold the truth."""
        return float(np.mean(np.abs(self.scaled) <= 1.959964))


def values_of(returns: TargetReturns, seen_by: str) -> list[Values]:
    """Give returns as the fit takes them."""
    looks = returns.up_m if seen_by == "height" else returns.intensity.astype(float)
    at = np.column_stack([returns.east_m, returns.north_m])
    return [
        Values(at[own], looks[own], np.ones(int(own.sum())), int(line))
        for line in np.unique(returns.line)
        if (own := returns.line == line).any()
    ]


def spec_of(kind: Any) -> TargetSpec:
    """Give what is looked for."""
    return TargetSpec(
        kind,
        SIZE_M,
        INNER_M if kind == "ring" else None,
        "height" if kind == "plate" else "intensity",
    )


def random_target(kind: Any, random: np.random.Generator) -> PaintedTarget:
    """Lay a target somewhere near the origin, in any rotation."""
    return PaintedTarget(
        kind,
        SIZE_M,
        INNER_M,
        float(random.uniform(-0.2, 0.2)),
        float(random.uniform(-0.2, 0.2)),
        float(random.uniform(0.0, 360.0)),
        raised_m=RAISED_M if kind == "plate" else 0.0,
    )


def centres(kind: Any, density: float, seeds: int, *, lines: int = 1, **more: Any) -> Tally:
    """Measure many targets in the cloud; the density is that of all lines together."""
    tally = Tally()
    texture = more.pop("texture", None)
    beam = Beam(density_m2=density / lines, **more)
    for seed in range(seeds):
        random = np.random.default_rng([1, seed])
        truth = random_target(kind, random)
        returns = scan_target(truth, beam, random, texture=texture, lines=lines)
        spec = spec_of(kind)
        tally.add(fit_target(spec, values_of(returns, spec.seen_by), SETTING), truth)
    return tally


def false_centres(kind: Any, density: float, seeds: int, texture: Texture) -> int:
    """Count centres on ground without any target."""
    count = 0
    for seed in range(seeds):
        random = np.random.default_rng([2, seed])
        rough_m = 0.02 if kind == "plate" else 0.004
        returns = scan_target(
            PaintedTarget("none"),
            Beam(density_m2=density),
            random,
            texture=texture,
            ground_roughness_m=rough_m,
        )
        spec = spec_of(kind)
        outcome = fit_target(spec, values_of(returns, spec.seen_by), SETTING)
        count += isinstance(outcome, Centre)
    return count


class Shown:
    """A simulated picture with the interface of a file."""

    def __init__(self, picture: Photograph) -> None:
        self.transform = picture.transform
        self.full_scale: float | None = 255.0
        self._values = picture.values
        rows, cols = picture.values.shape
        self.shape = (rows, cols)

    def patch(self, row0: int, col0: int, rows: int, cols: int) -> Any:
        """Cut a window; NaN outside."""
        from accuracy.formats import CellPatch

        values = np.full((rows, cols), np.nan)
        top, left = max(row0, 0), max(col0, 0)
        part = self._values[top : max(row0 + rows, 0), left : max(col0 + cols, 0)]
        values[
            top - row0 : top - row0 + part.shape[0], left - col0 : left - col0 + part.shape[1]
        ] = part
        return CellPatch(values, row0, col0)


def photo_centres(kind: Any, seeds: int, **camera: Any) -> Tally:
    """Measure many targets in orthophotos whose grids are turned at random."""
    tally = Tally()
    for seed in range(seeds):
        random = np.random.default_rng([3, seed])
        truth = random_target(kind, random)
        turned = float(random.uniform(0.0, 360.0))
        picture = photograph(
            truth, Camera(grid_rotation_deg=turned, **camera), random, texture=Texture(0.2, 0.2)
        )
        tally.add(measure_in_photo([Shown(picture)], 0.0, 0.0, spec_of(kind), 1.0), truth)
    return tally


def false_photo_centres(kind: Any, seeds: int, texture: Texture) -> int:
    """Count centres in orthophotos of bare ground."""
    count = 0
    for seed in range(seeds):
        random = np.random.default_rng([4, seed])
        picture = photograph(PaintedTarget("none"), Camera(), random, texture=texture)
        outcome = measure_in_photo([Shown(picture)], 0.0, 0.0, spec_of(kind), 1.0)
        count += isinstance(outcome, Centre)
    return count


def colour_patches(offset_m: tuple[float, float], patches: int) -> list[PatchOffset]:
    """Measure the offset of colours in single patches; half of them hold a target."""
    found = []
    for number in range(patches):
        random = np.random.default_rng([5, number])
        truth = random_target("checkerboard" if number % 2 else "none", random)
        returns = scan_target(
            truth,
            Beam(density_m2=200.0),
            random,
            texture=Texture(0.35, 0.4),
            colour_shift_m=offset_m,
        )
        at = np.column_stack([returns.east_m, returns.north_m])
        one = patch_offset(Patch(at, returns.intensity.astype(float), returns.colour.astype(float)))
        found += [] if one is None else [one]
    return found


def table(seeds: int) -> dict[str, Callable[[], Iterator[str]]]:
    """Give the parts of the table."""

    def cloud() -> Iterator[str]:
        for kind in ("checkerboard", "disc", "ring", "plate"):
            for density in (100, 200, 400):
                yield told(f"{kind}, {density}/m2", centres(kind, density, seeds), density)
        ground = Texture(0.4, 0.2)
        for kind in ("checkerboard", "disc"):
            yield told(
                f"{kind}, 200/m2, blotchy ground", centres(kind, 200, seeds, texture=ground), 200
            )
        yield told(
            "checkerboard, 300/m2 in 3 lines", centres("checkerboard", 300, seeds, lines=3), 300
        )
        yield told(
            "checkerboard, 200/m2, intensity noise 0.1",
            centres("checkerboard", 200, seeds, intensity_noise=0.1),
            200,
        )
        yield told(
            "checkerboard, 200/m2, even beam",
            centres("checkerboard", 200, seeds, spread="even"),
            200,
        )

    def told(name: str, tally: Tally, density: float) -> str:
        limit_mm = 250.0 / math.sqrt(density)
        return (
            f"{name:<44} n {len(tally.errors_m):4d}  bias {tally.bias_m * 1e3:5.2f} mm  RMSE "
            f"{tally.rmse_m * 1e3:5.2f} mm (limit {limit_mm:4.1f})  covered {tally.covered:6.1%}  "
            f"refused {sum(tally.refused.values())} {dict(tally.refused) or ''}"
        )

    def bare() -> Iterator[str]:
        every, wrong = 0, 0
        for kind in ("checkerboard", "disc", "ring", "plate"):
            for density in (100, 400):
                for texture in GROUNDS if kind != "plate" else GROUNDS[:1]:
                    n = false_centres(kind, density, seeds, texture)
                    every, wrong = every + seeds, wrong + n
                    yield (
                        f"bare ground, {kind}, {density}/m2, blotches {texture.deviation:.0%} of "
                        f"{texture.scale_m} m: {n} of {seeds}"
                    )
        yield f"bare ground, all: {wrong} of {every} = {wrong / every:.2%}"

    def photo() -> Iterator[str]:
        for kind in ("checkerboard", "disc", "ring"):
            for pixel_m in (0.01, 0.02, 0.03):
                for blur, noise, resampled in ((0.5, 0.02, False), (1.2, 0.05, True)):
                    tally = photo_centres(
                        kind,
                        seeds,
                        pixel_m=pixel_m,
                        blur_pixels=blur,
                        noise=noise,
                        resampled=resampled,
                    )
                    yield (
                        f"orthophoto, {kind}, {pixel_m * 100:.0f} cm, blur {blur}, noise {noise}"
                        f"{', resampled' if resampled else '':<12} n {len(tally.errors_m):4d}  RMSE "
                        f"{tally.rmse_m / pixel_m:.3f} pixel (limit 0.15)  covered {tally.covered:6.1%}  "
                        f"refused {dict(tally.refused)}"
                    )
        for texture in GROUNDS:
            n = sum(false_photo_centres(kind, seeds, texture) for kind in ("checkerboard", "disc"))
            yield f"orthophoto, bare ground, blotches {texture.deviation:.0%}: {n} of {2 * seeds}"

    def colour() -> Iterator[str]:
        for east_m, north_m in ((0.0, 0.0), (0.03, 0.0), (-0.06, 0.08)):
            every = colour_patches((east_m, north_m), 10 * seeds)
            random = np.random.default_rng(6)
            told, within, sigma = 0, 0, 0.0
            for _ in range(1000):  # clouds of 20 patches drawn from all
                drawn = random.choice(len(every), 20, replace=False)
                one = mean_offset([every[i] for i in drawn], 20)
                assert one is not None
                told += one.chance < COLOUR_CHANCE
                off = abs(one.east_m - east_m), abs(one.north_m - north_m)
                within += off[0] <= 3.0 * one.sigma_east_m and off[1] <= 3.0 * one.sigma_north_m
                sigma += one.sigma_east_m / 1000.0
            mean = mean_offset(every, 10 * seeds)
            assert mean is not None
            yield (
                f"colour offset ({east_m}, {north_m}): {len(every)} of {10 * seeds} patches tell one; all: "
                f"({mean.east_m:+.4f}, {mean.north_m:+.4f}) +- ({mean.sigma_east_m:.4f}, "
                f"{mean.sigma_north_m:.4f}); 1000 clouds of 20 of them: sigma {sigma * 1e3:.1f} mm, within "
                f"3 sigma {within / 1000:.1%}, reported {told / 1000:.1%}"
            )

    return {"cloud": cloud, "bare": bare, "photo": photo, "colour": colour}


def main() -> None:
    """Print the table."""
    seeds = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    parts = table(seeds)
    for name in sys.argv[2:] or list(parts):
        for line in parts[name]():
            print(line, flush=True)


if __name__ == "__main__":
    main()
