"""What a picture can show, by hand; the printed tables of optics stand in ``tests/external``."""

from __future__ import annotations

import pytest

from triage.bench.cleanliness import surface_class
from triage.errors import OutOfRange
from triage.picture.optics import (
    Eye,
    View,
    depth_um,
    frames_of_stack,
    grain_in_picture,
    na_from_working,
    what_shows,
)

EYE = Eye(wavelength_um=0.55, acuity_arcmin=1.0, overlap_fraction=0.2)


def test_the_sensor_adds_its_pitch_over_magnification_and_aperture() -> None:
    # By hand: 0.55 / 0.0784 + 3.76 / (10 * 0.28) = 7.015 + 1.343 um.
    assert depth_um(0.28, 0.55, 10.0, 3.76) == pytest.approx(8.358, abs=0.001)


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


def test_a_surface_with_twice_the_spots_is_three_tenths_of_a_class_worse_and_ends_with_the_scale() -> (
    None
):
    assert surface_class(20_000, 1e6, 10) == pytest.approx(5.4)  # log 2 = 0.301, in tenths, upward
    assert surface_class(200_000, 1e6, 500) == 8
    assert surface_class(400_000, 1e6, 500) is None
    assert surface_class(10_000, 1e6, 600) is None
