"""What a set-up of objective, sensor and picture can show, and the frames of a stack."""

from __future__ import annotations

import math
from dataclasses import dataclass

from triage.units import positive, within


@dataclass(frozen=True, slots=True)
class Eye:
    """What is assumed of light and viewer: wavelength [um], acuity [arc min], overlap of frames."""

    wavelength_um: float
    acuity_arcmin: float
    overlap_fraction: float


@dataclass(frozen=True, slots=True)
class View:
    """A set-up in air: objective, sensor, and the picture in front of a viewer.

    ``magnification`` is that on the sensor; ``na`` that of the objective on the specimen's side.
    """

    na: float
    magnification: float
    pitch_um: float
    sensor_mm: float
    picture_mm: float
    distance_mm: float


@dataclass(frozen=True, slots=True)
class Showing:
    """What a view can show; every size is one on the specimen unless its name says otherwise."""

    resolution_um: float
    pixel_um: float
    two_pixels_um: float
    eye_um: float
    least_um: float
    bound_by: str
    field_mm: float
    picture_magnification: float
    blur_in_picture_mm: float
    depth_um: float


@dataclass(frozen=True, slots=True)
class Grain:
    """One grain in the picture, and whether it reaches the least size that shows."""

    pixels: float
    picture_mm: float
    arcmin: float
    shows: bool


def na_from_working(f_number: float, magnification: float) -> float:
    """Return the aperture on the specimen's side from a working f-number, thin lens in air.

    Source: NA' = 1 / (2 N_working) on the sensor's side and NA = m NA' (sine condition); derived.
    """
    working = positive("f-number", f_number, "")
    return positive("magnification", magnification, "") / (2.0 * working)


def rayleigh_um(na: float, wavelength_um: float) -> float:
    """Return the distance of two points just told apart [um].

    Source: 0.61 lambda / NA (1.22 lambda / 2 NA in Inoue 1986, Video Microscopy, p. 114).
    """
    aperture = within("numerical aperture", na, 1e-4, 1.6, "")
    return 0.61 * positive("wavelength", wavelength_um, "um") / aperture


def depth_um(na: float, wavelength_um: float, magnification: float, pitch_um: float) -> float:
    """Return the depth of field in air [um], wave plus sensor term; pitch 0: the wave term alone.

    Source: lambda / NA^2 + e / (M NA), e what the sensor tells apart (here its pitch): "Depth of
    Field Calculator", formula 1, microscopyu.com, opened.
    """
    aperture = within("numerical aperture", na, 1e-4, 1.6, "")
    sensor = within("pixel pitch", pitch_um, 0.0, 1000.0, "um")
    scale = positive("magnification", magnification, "")
    return positive("wavelength", wavelength_um, "um") / aperture**2 + sensor / (scale * aperture)


def frames_of_stack(thickness_um: float, depth: float, overlap_fraction: float) -> int:
    """Return how many frames cover a thickness when neighbours overlap by a share of depth."""
    thick = positive("thickness", thickness_um, "um")
    one = positive("depth of field", depth, "um")
    step = one * (1.0 - within("overlap", overlap_fraction, 0.0, 0.9, ""))
    return 1 if thick <= one else 1 + math.ceil((thick - one) / step - 1e-9)


def what_shows(view: View, eye: Eye) -> Showing:
    """Return what a view can show: the coarsest of lens, sampling and viewer decides.

    Raises
    ------
    OutOfRange: a figure is not finite, not above zero, or no objective in air has such an aperture.

    Notes
    -----
    Two pixels are the Nyquist limit. A glint or a spot of strong contrast can be seen although it
    is smaller: it is then drawn as large as the blur.
    """
    within("numerical aperture", view.na, 1e-4, 1.0, "")  # in air
    scale = positive("magnification", view.magnification, "")
    pixel = positive("pixel pitch", view.pitch_um, "um") / scale
    sensor = positive("sensor width", view.sensor_mm, "mm")
    enlarged = scale * positive("picture width", view.picture_mm, "mm") / sensor
    angle = math.radians(positive("acuity", eye.acuity_arcmin, "arc min") / 60.0)
    seen_mm = positive("viewing distance", view.distance_mm, "mm") * math.tan(angle)
    resolved = rayleigh_um(view.na, eye.wavelength_um)
    limits = {"lens": resolved, "pixels": 2.0 * pixel, "viewer": 1000.0 * seen_mm / enlarged}
    bound = max(limits, key=lambda name: limits[name])
    return Showing(
        resolution_um=resolved,
        pixel_um=pixel,
        two_pixels_um=limits["pixels"],
        eye_um=limits["viewer"],
        least_um=limits[bound],
        bound_by=bound,
        field_mm=sensor / scale,
        picture_magnification=enlarged,
        blur_in_picture_mm=resolved * enlarged / 1000.0,
        depth_um=depth_um(view.na, eye.wavelength_um, scale, view.pitch_um),
    )


def grain_in_picture(size_um: float, view: View, showing: Showing) -> Grain:
    """Return how large a grain stands in the picture, by geometry alone."""
    size = positive("size of the grain", size_um, "um")
    drawn_mm = size * showing.picture_magnification / 1000.0
    angle = math.degrees(math.atan(drawn_mm / view.distance_mm)) * 60.0
    return Grain(size / showing.pixel_um, drawn_mm, angle, shows=size >= showing.least_um)
