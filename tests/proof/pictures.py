"""Pairs of pictures with known truth: ``python -m tests.proof.pictures --pairs 10``.

Spots of known size on five natural textures that scikit-image carries, turned up to 3 degrees,
moved up to 40 pixels, exposure 0.8 to 1.25, noise; and pairs made unanswerable.
"""

from __future__ import annotations

import argparse
from typing import Any

import numpy as np
from scipy import ndimage

from triage.errors import TriageError
from triage.picture.pair import Comparison, compare

TEXTURES = ("brick", "grass", "gravel", "moon", "coins")
UNANSWERABLE = ("other texture", "blur", "clipped")
SIDE = 512


def ground(name: str) -> Any:
    """Return a natural texture as a picture in colour, its light kept off both ends."""
    from skimage import data, transform

    grey = getattr(data, name)().astype(float) / 255.0
    grey = transform.resize(grey[: min(grey.shape), : min(grey.shape)], (SIDE + 120, SIDE + 120))
    return (0.15 + 0.55 * grey)[..., None] * np.array([1.0, 0.93, 0.85])


def drawn(picture: Any, spots: list[tuple[float, float, float]]) -> Any:
    """Return the picture with dark round spots, edges softened over a pixel: (row, column, d)."""
    rows, columns = np.mgrid[: picture.shape[0], : picture.shape[1]]
    for row, column, diameter in spots:
        share = np.clip(diameter / 2 - np.hypot(rows - row, columns - column) + 0.5, 0, 1)
        picture = picture * (1 - share[..., None]) + share[..., None] * 0.04
    return picture


def seen(picture: Any, rng: np.random.Generator, *, moved: bool, gain: float) -> Any:
    """Return what the camera makes of it."""
    from skimage.transform import SimilarityTransform, warp

    half = picture.shape[0] / 2
    shift = rng.uniform(-40, 40, 2) if moved else np.zeros(2)
    turn = np.radians(rng.uniform(-3, 3)) if moved else 0.0
    to_middle = SimilarityTransform(translation=(-half, -half))
    move = SimilarityTransform(rotation=turn, translation=(half + shift[0], half + shift[1]))
    picture = warp(picture, to_middle + move, order=3, mode="reflect")[60:-60, 60:-60]
    return np.clip(picture * gain + rng.normal(0, 0.008, picture.shape), 0, 1)


def made(name: str, rng: np.random.Generator, wrong: str = "") -> tuple[Any, Any, int, int, float]:
    """Return before, after, how many vanished and appeared, and the mean diameter of those gone."""
    places = [(r, c) for r in range(150, SIDE - 40, 38) for c in range(150, SIDE - 40, 38)]
    places = [places[i] for i in rng.permutation(len(places))]
    sized = [
        (r + rng.uniform(-5, 5), c + rng.uniform(-5, 5), rng.uniform(6, 16)) for r, c in places
    ]
    gone, stay, new = sized[:20], sized[20:30], sized[30:36]
    other = TEXTURES[(TEXTURES.index(name) + 1) % len(TEXTURES)]
    under = ground(other if wrong == "other texture" else name)
    before = seen(drawn(ground(name), gone + stay), rng, moved=False, gain=1.0)
    after = seen(drawn(under, stay + new), rng, moved=True, gain=rng.uniform(0.8, 1.25))
    if wrong == "blur":
        after = ndimage.gaussian_filter(after, (4, 4, 0))
    if wrong == "clipped":
        after = np.clip(after / np.quantile(after, 0.9), 0, 1)  # a tenth of the light is lost
    return before, after, len(gone), len(new), float(np.mean([d for _, _, d in gone]))


def answered(before: Any, after: Any) -> Comparison | None:
    """Return the comparison, None if it was refused."""
    try:
        return compare(before, after)
    except TriageError:
        return None


def main() -> None:
    """Print the figures of every texture and of all."""
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--pairs", type=int, default=10, help="answerable pairs on each texture")
    words.add_argument("--seed", type=int, default=0)
    given = words.parse_args()
    for name in TEXTURES:
        rng = np.random.default_rng([given.seed, TEXTURES.index(name)])
        counted = sized = told = 0
        colours: list[float] = []
        for _ in range(given.pairs):
            before, after, gone, new, mean = made(name, rng)
            got = answered(before, after)
            if got is None:
                continue
            told += 1
            colours.append(got.colour_median)
            fits = (len(got.vanished), gone), (len(got.appeared), new)
            counted += all(abs(seen_ - true) <= max(0.1 * true, 0.0) for seen_, true in fits)
            if got.vanished:
                found = float(np.mean([spot.diameter_px for spot in got.vanished]))
                sized += abs(found - mean) <= 0.1 * mean
        refused = sum(
            answered(*made(name, rng, wrong)[:2]) is None
            for wrong in UNANSWERABLE
            for _ in range(max(1, given.pairs // 3))
        )
        asked = len(UNANSWERABLE) * max(1, given.pairs // 3)
        print(
            f"{name}: answered {told}/{given.pairs}; both counts within 10 % {counted}/{told}; "
            f"diameter within 10 % {sized}/{told}; colour moved (true 0) at most "
            f"{max(colours, default=float('nan')):.2f}; unanswerable refused {refused}/{asked}",
            flush=True,
        )


if __name__ == "__main__":
    main()
