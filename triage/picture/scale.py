"""How large a point of a picture is on the specimen: from a ruled scale, or by reckoning."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from triage.picture.points import Grey
from triage.picture.register import CannotTell
from triage.units import positive

LEAST_LINES = 5  # fewer lines give no spacing worth the name
CLEAR = 6.0  # the line of the spectrum stands this far above the rest


@dataclass(frozen=True, slots=True)
class Scale:
    """Size of a point on the specimen [um] with its standard uncertainty, and what it rests on."""

    um_per_px: float
    uncertainty_um: float
    lines: float
    slope_deg: float


def scale_from_pitch(pitch_um: float, magnification: float) -> float:
    """Return the size of a point on the specimen [um]: pixel pitch over magnification."""
    return positive("pixel pitch", pitch_um, "um") / positive("magnification", magnification, "")


def scale_from_ruling(picture: Grey, spacing_um: float) -> Scale:
    """Return the scale of a picture of evenly ruled lines, as of a stage micrometer.

    Parameters
    ----------
    picture    grey of 0 to 1, the ruling over most of it
    spacing_um distance of neighbouring lines [um], > 0

    Raises
    ------
    CannotTell: no ruling stands out, or it has too few lines.

    Notes
    -----
    The strongest line of the Fourier spectrum gives spacing and slope; its place is refined by the
    phase between both halves of the picture. The ruling's own error is not in the uncertainty.
    """
    spacing = positive("spacing of the lines", spacing_um, "um")
    frequency, share = _strongest(picture - picture.mean())
    cycles = float(np.hypot(*frequency))
    lines = cycles * min(picture.shape)
    if share < CLEAR or cycles * max(picture.shape) < LEAST_LINES:
        raise CannotTell("no evenly ruled lines stand out", mend="fill the picture with the scale")
    finer, spread = _by_phase(picture - picture.mean(), frequency)
    slope = float(np.degrees(np.arctan2(*frequency)))
    return Scale(spacing * finer, spacing * spread, lines, slope)


def _strongest(picture: Grey) -> tuple[tuple[float, float], float]:
    """Return cycles a point along rows and columns of the strongest line, and how it stands out.

    Of a ruling and its multiples the first is meant: a multiple that is stronger is taken back.
    """
    window = np.outer(np.hanning(picture.shape[0]), np.hanning(picture.shape[1]))
    power = np.abs(np.fft.rfft2(picture * window))
    power[:3, :3] = power[-2:, :3] = 0.0  # uneven light
    row, column = (int(each) for each in np.unravel_index(int(np.argmax(power)), power.shape))
    rows = np.fft.fftfreq(picture.shape[0])
    columns = np.fft.rfftfreq(picture.shape[1])
    for part in (5, 4, 3, 2):
        down = rows[row] / part * picture.shape[0]
        right = columns[column] / part * picture.shape[1]
        below = [round(down + each) % picture.shape[0] for each in (-1, 0, 1)]
        beside = [max(0, round(right + each)) for each in (-1, 0, 1)]
        near = power[np.ix_(below, beside)]
        if np.hypot(down, right) >= LEAST_LINES and near.max() >= 0.25 * power[row, column]:
            found = np.unravel_index(int(np.argmax(near)), near.shape)
            row, column = below[int(found[0])], beside[int(found[1])]
            break
    usual = float(np.percentile(power, 99.5))
    return (float(rows[row]), float(columns[column])), float(power[row, column] / usual)


def _by_phase(picture: Grey, rough: tuple[float, float]) -> tuple[float, float]:
    """Return cycles a point, refined by the run of the phase, and its uncertainty."""
    along = 1 if abs(rough[1]) >= abs(rough[0]) else 0
    rows, columns = np.mgrid[: picture.shape[0], : picture.shape[1]]
    wave = np.exp(-2j * np.pi * (rough[0] * rows + rough[1] * columns))
    parts = 8
    phases, middles = [], []
    for down in np.array_split(np.arange(picture.shape[0]), parts):
        for right in np.array_split(np.arange(picture.shape[1]), parts):
            box = np.ix_(down, right)
            window = np.outer(np.hanning(len(down)), np.hanning(len(right)))
            phases.append(complex((picture[box] * wave[box] * window).sum()))
            middles.append((down.mean(), right.mean()))
    grid = np.array(phases).reshape(parts, parts)
    turn = np.unwrap(np.unwrap(np.angle(grid), axis=0), axis=1).ravel() / (2 * np.pi)
    design = np.column_stack([np.array(middles), np.ones(parts * parts)])
    weight = np.sqrt(np.abs(grid).ravel())
    solved, *_ = np.linalg.lstsq(design * weight[:, None], turn * weight, rcond=None)
    left = turn - design @ solved
    reach = float(np.sum((design[:, along] - design[:, along].mean()) ** 2))
    spread = float(np.std(left)) / np.sqrt(reach)
    finer = (rough[0] + solved[0], rough[1] + solved[1])
    return float(np.hypot(*finer)), float(spread)
