"""Pairs of pictures with known truth: ``python -m tests.proof.pictures --pairs 10``.

``--large`` times one pair of 24 million points instead. Dark, brown and light spots of known size on natural textures that scikit-image carries (fur among
them) and on a calm ground, turned up to 3 degrees, moved up to 40 points, exposure 0.8 to 1.25 and
uneven, noise; some recoloured, some with a patch of lost structure; and pairs made unanswerable.
"""

import argparse
import resource
import time
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from multiprocessing import get_context
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
from scipy import ndimage
from skimage.color import deltaE_ciede2000, rgb2lab

from tests.support.knowledge import shipped
from triage.errors import TriageError
from triage.knowledge.judgement import PictureLimits
from triage.picture.pair import Comparison, compare
from triage.service.measuring import measured
from triage.show.compared import offered

TEXTURES = ("brick", "grass", "gravel", "chelsea", "moon", "calm")
UNANSWERABLE = ("other texture", "blur", "clipped", "other pose", "no overlap")
# The share of the answers that must keep each promise.
AIMS = {
    "left counted": 0.95, "came counted": 0.95, "diameter": 0.95, "removal": 0.95, "colour": 0.95,
    "no false loss": 0.98, "no false harm": 0.98, "loss found": 0.90, "refused": 0.97,
}  # fmt: skip
STYLES = ((0.04, 0.04, 0.04), (0.24, 0.13, 0.05), (0.88, 0.86, 0.80))
SIDE, MARGIN = 512, 60


@dataclass(frozen=True)
class Drawn:
    """What was drawn: diameters gone, new and left in place, colour shift, the lost patch."""

    gone: tuple[float, ...]
    new: tuple[float, ...]
    stayed: tuple[float, ...]
    colour: float = 0.0
    patch: tuple[float, float, float] | None = None


def limits() -> PictureLimits:
    """Return the limits of the carried rules."""
    return shipped().judgement.picture


@cache
def ground(name: str, side: int = SIDE + 2 * MARGIN) -> Any:
    """Return a natural texture as a picture in colour, its light kept off both ends."""
    from skimage import data, transform

    if name == "calm":  # a smooth bent shield: a gradient and faint grain
        rows, columns = np.mgrid[:side, :side] / side
        grain = ndimage.gaussian_filter(np.random.default_rng(3).normal(0, 1, (side, side)), 2)
        bumps = ndimage.gaussian_filter(np.random.default_rng(4).normal(0, 1, (side, side)), 9)
        grey = 0.45 + 0.25 * rows - 0.15 * columns**2 + 0.06 * grain + 0.25 * bumps
    else:
        grey = getattr(data, name)().astype(float) / 255.0
        grey = grey.mean(axis=2) if grey.ndim == 3 else grey
        least = min(grey.shape)
        grey = transform.resize(grey[:least, :least], (side, side))
    return np.clip(0.15 + 0.55 * grey, 0.05, 0.8)[..., None] * np.array([1.0, 0.93, 0.85])


def drawn(picture: Any, spots: list[tuple[float, float, float, int]]) -> Any:
    """Return the picture with round spots, edges softened over a point: row, column, d, style."""
    picture = picture.copy()
    for row, column, diameter, style in spots:
        reach = int(diameter / 2) + 3
        top, left = int(row) - reach, int(column) - reach
        box = (slice(max(0, top), int(row) + reach), slice(max(0, left), int(column) + reach))
        rows, columns = np.mgrid[box]
        share = np.clip(diameter / 2 - np.hypot(rows - row, columns - column) + 0.5, 0, 1)
        colour = np.array(STYLES[style])
        picture[box] += share[..., None] * 0.95 * (colour - picture[box])
    return picture


def seen(picture: Any, rng: np.random.Generator, *, moved: bool, gain: float) -> Any:
    """Return what the camera makes of it."""
    from skimage.transform import SimilarityTransform, warp

    half = picture.shape[0] / 2
    shift = rng.uniform(-40, 40, 2) if moved else np.zeros(2)
    turn = np.radians(rng.uniform(-3, 3)) if moved else 0.0
    to_middle = SimilarityTransform(translation=(-half, -half))
    move = SimilarityTransform(rotation=turn, translation=(half + shift[0], half + shift[1]))
    picture = warp(picture, to_middle + move, order=3, mode="reflect")
    picture = picture[MARGIN:-MARGIN, MARGIN:-MARGIN]
    slope = np.linspace(0.95, 1.05, picture.shape[1])[None, :, None] if moved else 1.0
    return np.clip(picture * gain * slope + rng.normal(0, 0.008, picture.shape), 0, 1)


def made(
    name: str, rng: np.random.Generator, wrong: str = "", *, colour: bool = False,
    patch: bool = False,
) -> tuple[Any, Any, Drawn]:  # fmt: skip
    """Return before, after, and what was drawn."""
    edge, step = MARGIN + 85, 60
    places = [(r, c) for r in range(edge, SIDE - 20, step) for c in range(edge, SIDE - 20, step)]
    places = [places[i] for i in rng.permutation(len(places))]
    hole = None
    if patch:
        at = rng.uniform(230, 400, 2)
        hole = (float(at[0]), float(at[1]), float(rng.uniform(25, 45)))
        places = [p for p in places if np.hypot(p[0] - at[0], p[1] - at[1]) > hole[2] + 30]
    sized = [
        (r + rng.uniform(-8, 8), c + rng.uniform(-8, 8), float(np.exp(rng.uniform(1.8, 3.4))),
         int(rng.integers(len(STYLES))))
        for r, c in places
    ]  # fmt: skip
    gone, stay, new = sized[:14], sized[14:20], sized[20:25]
    under = ground(name)
    shift = 0.0
    if wrong == "other texture":
        under_after = ground(TEXTURES[(TEXTURES.index(name) + 1) % len(TEXTURES)])
    elif wrong == "no overlap":
        under_after = np.roll(under, under.shape[0] // 2, (0, 1))
    else:
        under_after = under
    if colour:
        under_after = np.clip(under_after * np.array([1.0, 0.96, rng.uniform(0.7, 0.9)]), 0, 1)
        under_after *= under.mean() / under_after.mean()
        pair = (rgb2lab(ndimage.gaussian_filter(e, (2, 2, 0))) for e in (under, under_after))
        shift = float(np.median(deltaE_ciede2000(*pair)))
    if hole is not None:
        rows, columns = np.mgrid[: under.shape[0], : under.shape[1]]
        near = np.clip((hole[2] - np.hypot(rows - hole[0], columns - hole[1])) / 4, 0, 1)[..., None]
        under_after = under_after * (1 - near) + near * ndimage.gaussian_filter(
            under_after, (7, 7, 0)
        )
    before = seen(drawn(under, gone + stay), rng, moved=False, gain=1.0)
    after = seen(drawn(under_after, stay + new), rng, moved=True, gain=rng.uniform(0.8, 1.25))
    if wrong == "other pose":  # relief seen from another side: each place moves by its own height
        seen_from = np.mgrid[: after.shape[0], : after.shape[1]].astype(float)
        for each in seen_from:
            height = ndimage.gaussian_filter(rng.normal(0, 1, each.shape), 50)
            each += 4 * height / height.std()  # noqa: PLW2901  (in place)
        bent = [ndimage.map_coordinates(after[..., n], seen_from, mode="reflect") for n in range(3)]
        after = np.stack(bent, axis=-1)
    if wrong == "blur":
        after = ndimage.gaussian_filter(after, (4, 4, 0))
    if wrong == "clipped":
        after = np.clip(after / np.quantile(after, 0.9), 0, 1)  # a tenth of the light is lost
    sizes = [tuple(s[2] for s in spots) for spots in (gone, new, stay)]
    told = Drawn(sizes[0], sizes[1], sizes[2], shift, hole)
    return before.astype(np.float32), after.astype(np.float32), told


def answered(before: Any, after: Any) -> Comparison | None:
    """Return the comparison, None if it was refused."""
    try:
        return compare(before, after, limits())
    except TriageError:
        return None


def judged(got: Comparison, true: Drawn) -> dict[str, bool]:
    """Return for each promise whether it was kept; promises that were not asked are left out."""
    kept: dict[str, bool] = {}
    if true.patch is None:
        kept["left counted"] = abs(len(got.vanished) - len(true.gone)) <= 0.1 * len(true.gone)
        kept["came counted"] = abs(len(got.appeared) - len(true.new)) <= 0.1 * len(true.new)
        if got.vanished:
            size = float(np.mean([spot.diameter_px for spot in got.vanished]))
            mean = float(np.mean(true.gone))
            kept["diameter"] = abs(size - mean) <= 0.1 * mean
        kept["no false loss"] = not got.harm.lost
    else:
        row, column, radius = true.patch
        where = [(r + MARGIN, c + MARGIN) for r, c, _ in got.harm.lost]
        kept["loss found"] = any(np.hypot(r - row, c - column) <= radius for r, c in where)
    if true.patch is None and not true.colour:
        kept["no false harm"] = offered(got, limits())[0] != "damage"
    kept["colour"] = abs(got.harm.colour_median - true.colour) <= 1.0
    if got.removal is not None and true.patch is None:
        had, has = len(true.gone) + len(true.stayed), len(true.new) + len(true.stayed)
        kept["removal"] = abs(got.removal.share - (1 - has / had)) <= 0.08
    return kept


def large(rows: int = 4000, columns: int = 6000) -> tuple[Any, Any]:
    """Return a pair of 24 million points of 8 bits: 150 spots left, 40 came, turned a little."""
    from skimage import data

    rng = np.random.default_rng(5)
    tile = data.gravel().astype(np.float32) / 255
    short = [side - each for side, each in zip((rows, columns), tile.shape, strict=True)]
    tile = np.pad(tile, [(0, each) for each in short], mode="symmetric")
    slow = [
        ndimage.zoom(rng.normal(0, 1, (rows // n, columns // n)), n, order=1) for n in (100, 20)
    ]
    grey = np.clip(0.15 + 0.55 * tile * (1 + 0.15 * slow[0]) + 0.05 * slow[1], 0.05, 0.85)
    both = []
    for count, seed, turn in ((150, 1, 0.0), (40, 2, 1.2)):
        here = np.random.default_rng(seed)
        at = here.uniform
        spots = [(at(200, rows - 200), at(200, columns - 200), at(7, 50), 0) for _ in range(count)]
        picture = drawn(grey[..., None] * np.array([1.0, 0.93, 0.85]), spots)[..., 0]
        cos, sin = np.cos(np.radians(turn)), np.sin(np.radians(turn))
        if turn:
            picture = ndimage.affine_transform(picture, [[cos, -sin], [sin, cos]], (13.3, -21.2))
            picture = np.clip(0.9 * picture, 0.05, 1)
        picture = picture[..., None] * np.array([1.0, 0.93, 0.85])
        seen_ = np.clip(picture + rng.normal(0, 0.008, picture.shape), 0, 1)
        both.append((255 * seen_).round().astype(np.uint8))
    return both[0], both[1]


def save_large(folder: str) -> None:
    """Write a large pair as a camera does, apart: drawing takes more memory than comparing."""
    from PIL import Image

    for name, picture in zip(("before", "after"), large(), strict=True):
        Image.fromarray(picture).save(Path(folder) / f"{name}.jpg", quality=95)


def time_large() -> None:
    """Print what a large pair takes from its files on: a glance, then the whole."""
    knowledge = shipped()
    with TemporaryDirectory() as folder:
        with get_context("spawn").Pool(1) as apart:
            apart.apply(save_large, (folder,))
        base = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        began, wall = time.process_time(), time.perf_counter()

        def glanced(words: str) -> None:
            used, passed = time.process_time() - began, time.perf_counter() - wall
            print(f"{words}: {used:.1f} s of processor, {passed:.1f} s")

        photos = (Path(folder) / "before.jpg", Path(folder) / "after.jpg")
        got = measured(knowledge, photos, glanced=glanced).found
        glanced(f"whole: {len(got.vanished)} left, {len(got.appeared)} came")
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    print(f"memory at most {most / 1e6:.2f} GB ({base / 1e6:.2f} GB before)")


def main() -> None:
    """Print the figures of every texture and of all."""
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--pairs", type=int, default=10, help="pairs of each kind on each texture")
    words.add_argument("--seed", type=int, nargs="+", default=[0])
    words.add_argument("--large", action="store_true", help="time one pair of 24 million points")
    given = words.parse_args()
    if given.large:
        time_large()
        return
    whole: dict[str, list[bool]] = {}
    for name in TEXTURES:
        here: dict[str, list[bool]] = {}
        for seed in given.seed:
            for promise, is_kept in of_texture(name, given.pairs, seed):
                here.setdefault(promise, []).append(is_kept)
        told = ", ".join(f"{promise} {sum(kept)}/{len(kept)}" for promise, kept in here.items())
        print(f"{name}: {told}", flush=True)
        for promise, kept in here.items():
            whole.setdefault(promise, []).extend(kept)
    for promise, kept in whole.items():
        share = sum(kept) / len(kept)
        aim = AIMS.get(promise)
        told = "" if aim is None else f", aim {aim:.0%}{'' if share >= aim else ': NOT MET'}"
        print(f"{promise}: {sum(kept)} of {len(kept)}, {share:.1%}{told}")


def of_texture(name: str, pairs: int, seed: int) -> Iterator[tuple[str, bool]]:
    """Yield each promise on one texture with whether it was kept."""
    rng = np.random.default_rng([seed, TEXTURES.index(name)])
    for kind in ("", "colour", "patch" if name != "calm" else ""):  # nothing to lose there
        for _ in range(pairs):
            before, after, true = made(name, rng, colour=kind == "colour", patch=kind == "patch")
            got = answered(before, after)
            yield "answered", got is not None
            yield from (judged(got, true) if got else {}).items()
    for wrong in UNANSWERABLE:
        for _ in range(pairs):
            before, after, _true = made(name, rng, wrong)
            yield "refused", answered(before, after) is None


if __name__ == "__main__":
    main()
