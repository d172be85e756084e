"""Optics against printed tables, each named beside its figures."""

from __future__ import annotations

import pytest

from triage.errors import OutOfRange
from triage.picture.optics import (
    Eye,
    View,
    depth_um,
    frames_of_stack,
    grain_in_picture,
    na_from_working,
    rayleigh_um,
    what_shows,
)

# Table of resolution by objective, R = 1.22 lambda / 2 NA after Inoue (1986) p. 114, as printed on
# the page "zoom" of the imaging facility at mcb.arizona.edu/IPC: wavelength [um], NA, R [um]. Opened.
RESOLUTION = [
    (0.515, 0.13, 2.42),
    (0.515, 0.45, 0.70),
    (0.515, 0.75, 0.42),
    (0.515, 1.30, 0.24),
    (0.515, 1.40, 0.22),
    (0.580, 1.40, 0.25),
    (0.670, 1.40, 0.29),
]
# Table of depth by aperture at 550 nm, lambda / NA^2, as printed in the thread "Overview of
# Microscope objectives DoF" at photomacrography.net: NA, depth [um]. Opened.
DEPTH = [
    (0.10, 55.0),
    (0.14, 28.1),
    (0.15, 24.4),
    (0.20, 13.8),
    (0.21, 12.5),
    (0.24, 9.55),
    (0.25, 8.80),
    (0.28, 7.02),
    (0.40, 3.44),
    (0.42, 3.12),
    (0.50, 2.20),
    (0.55, 1.82),
    (0.60, 1.53),
    (0.65, 1.30),
    (0.70, 1.12),
    (0.75, 0.98),
]
EYE = Eye(wavelength_um=0.55, acuity_arcmin=1.0, overlap_fraction=0.2)


@pytest.mark.parametrize(("wavelength_um", "na", "printed_um"), RESOLUTION)
def test_resolution_is_that_of_the_printed_table(
    wavelength_um: float, na: float, printed_um: float
) -> None:
    assert rayleigh_um(na, wavelength_um) == pytest.approx(printed_um, abs=0.0051)


@pytest.mark.parametrize(("na", "printed_um"), DEPTH)
def test_wave_term_of_the_depth_is_that_of_the_printed_table(na: float, printed_um: float) -> None:
    assert depth_um(na, 0.55, 10.0, 0.0) == pytest.approx(printed_um, rel=0.006)


def test_each_of_lens_pixels_and_viewer_can_set_the_limit() -> None:
    # By hand: two pixels 2 * 4 / 10 = 0.8 um; the eye 500 mm * tan(1') = 0.1454 mm over x100 = 1.454 um.
    sharp = View(
        na=0.9, magnification=10, pitch_um=4, sensor_mm=40, picture_mm=400, distance_mm=500
    )
    assert what_shows(sharp, EYE).eye_um == pytest.approx(1.454, abs=0.001)
    assert what_shows(sharp, EYE).bound_by == "viewer"
    near = View(
        na=0.9, magnification=10, pitch_um=4, sensor_mm=40, picture_mm=4000, distance_mm=500
    )
    assert (what_shows(near, EYE).bound_by, what_shows(near, EYE).least_um) == (
        "pixels",
        pytest.approx(0.8),
    )
    dull = View(
        na=0.1, magnification=10, pitch_um=4, sensor_mm=40, picture_mm=4000, distance_mm=500
    )
    assert (what_shows(dull, EYE).bound_by, what_shows(dull, EYE).least_um) == (
        "lens",
        pytest.approx(3.355),
    )


def test_a_grain_at_the_limit_of_the_eye_stands_at_the_acuity() -> None:
    view = View(na=0.9, magnification=10, pitch_um=4, sensor_mm=40, picture_mm=400, distance_mm=500)
    showing = what_shows(view, EYE)
    assert grain_in_picture(showing.least_um, view, showing).arcmin == pytest.approx(1.0)
    assert grain_in_picture(showing.least_um * 1.01, view, showing).shows
    assert not grain_in_picture(showing.least_um * 0.99, view, showing).shows


@pytest.mark.parametrize(
    ("thickness_um", "frames"), [(5, 1), (10, 1), (10.1, 2), (18, 2), (26, 3), (26.1, 4)]
)
def test_frames_cover_the_thickness_with_their_overlap(thickness_um: float, frames: int) -> None:
    # By hand: a depth of 10 um and a fifth of overlap cover 10, 18, 26 um with 1, 2, 3 frames.
    assert frames_of_stack(thickness_um, 10.0, 0.2) == frames


def test_a_working_f_number_is_an_aperture() -> None:
    assert na_from_working(5.6, 1.0) == pytest.approx(0.0893, abs=1e-4)  # 1 / 11.2, by hand


@pytest.mark.parametrize("na", [0.0, -0.1, 1.2, float("nan")])
def test_no_objective_in_air_has_such_an_aperture(na: float) -> None:
    with pytest.raises(OutOfRange, match="numerical aperture"):
        what_shows(View(na, 10, 4, 36, 600, 500), EYE)
