"""Optics against printed tables, each named beside its figures."""

from __future__ import annotations

import pytest

from triage.bench.cleanliness import product_level, surface_class
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
from triage.picture.stayed import removal_share

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
# Table 4-1 of Murphy: Fundamentals of Light Microscopy and Electronic Imaging (2001), p. 54, lenses
# in air: NA, least distance [um], wave-optical depth of field [um]. Opened.
LENSES = [
    (0.12, 2.80, 38.19),
    (0.25, 1.34, 8.80),
    (0.45, 0.75, 2.72),
    (0.75, 0.45, 0.98),
    (0.95, 0.35, 0.61),
]
# Depth of focus as printed in the table "Optical Characteristics" of an instruction manual for the
# microscope Eclipse E200, page 75, dry objectives with an eyepiece of 10: NA, whole magnification,
# depth [um]. Opened; the page prints no formula for them. From memory it is lambda / 2 NA^2 +
# 1 mm / (7 M NA): our sum with an eye's e of 1/7 mm and half the wave term.
EYEPIECE = [(0.10, 40, 63.2), (0.25, 100, 10.1), (0.65, 400, 1.2)]
# Table 1 of the spreadsheet to Savazzi: Digital photography for science (2011), depth by circle of
# confusion alone: magnification, nominal f-number, depth [mm], f-number at the sensor. Opened. Its
# circle is 19 um (0.076 mm at 1 and f/1, 4 c by its formula); that cell is left out here.
BY_CIRCLE = [
    (1, 1.4, 0.11, 2.8), (1, 2, 0.15, 4), (1, 2.8, 0.21, 5.6), (1, 4, 0.30, 8), (2, 2, 0.057, 6),
    (2, 2.8, 0.080, 8.4), (3, 2, 0.034, 8), (3, 2.8, 0.047, 11), (4, 2.8, 0.033, 14),
    (5, 2, 0.018, 12), (5, 2.8, 0.026, 17), (10, 2, 0.0084, 22), (10, 2.8, 0.012, 31),
    (20, 2.8, 0.0056, 59), (20, 4, 0.0080, 84), (40, 4, 0.0039, 160),
]  # fmt: skip
EYE = Eye(wavelength_um=0.55, acuity_arcmin=1.0, overlap_fraction=0.2)


@pytest.mark.parametrize(("wavelength_um", "na", "printed_um"), RESOLUTION)
def test_resolution_is_that_of_the_printed_table(
    wavelength_um: float, na: float, printed_um: float
) -> None:
    assert rayleigh_um(na, wavelength_um) == pytest.approx(printed_um, abs=0.0051)


@pytest.mark.parametrize(("na", "printed_um"), DEPTH)
def test_wave_term_of_the_depth_is_that_of_the_printed_table(na: float, printed_um: float) -> None:
    assert depth_um(na, 0.55, 10.0, 0.0) == pytest.approx(printed_um, rel=0.006)


@pytest.mark.parametrize(("na", "apart_um", "deep_um"), LENSES)
def test_lenses_are_as_in_the_handbook(na: float, apart_um: float, deep_um: float) -> None:
    assert rayleigh_um(na, 0.55) == pytest.approx(apart_um, abs=0.0051)
    assert depth_um(na, 0.55, 10.0, 0.0) == pytest.approx(deep_um, abs=0.0051)


@pytest.mark.parametrize(("na", "magnification", "printed_um"), EYEPIECE)
def test_what_the_eye_resolves_adds_to_the_depth_as_in_the_printed_table(
    na: float, magnification: float, printed_um: float
) -> None:
    depth = depth_um(na, 0.55 / 2, magnification, 1000 / 7)
    assert depth == pytest.approx(printed_um, abs=0.051)


@pytest.mark.parametrize(("magnification", "nominal", "printed_mm", "printed_f"), BY_CIRCLE)
def test_the_sensor_term_alone_is_that_of_the_printed_table(
    magnification: float, nominal: float, printed_mm: float, printed_f: float
) -> None:
    working = nominal * (1 + magnification)
    assert working == pytest.approx(printed_f, rel=0.03)  # printed with two figures
    na = na_from_working(working, magnification)
    whole, wave = (depth_um(na, 0.55, magnification, e) for e in (19.0, 0.0))
    assert (whole - wave) / 1000 == pytest.approx(printed_mm, rel=0.035)


def test_the_sensor_adds_its_pitch_over_magnification_and_aperture() -> None:
    # By hand: 0.55 / 0.0784 + 3.76 / (10 * 0.28) = 7.015 + 1.343 um.
    assert depth_um(0.28, 0.55, 10.0, 3.76) == pytest.approx(8.358, abs=0.001)


# IEST-STD-CC1246D (as MIL-STD-1246C), table of particle cleanliness levels: level, size [um], most
# particles on the reference area. From memory: no printed table was found. Opened are the law with
# its slope (Borson 2005) and MIL-STD-1246C, 1.4 (log-log2, slope 0.926, most particles at 1 um).
LEVELS = [
    (50, 5, 166), (50, 25, 7.27), (100, 5, 1785), (100, 15, 265), (100, 25, 78.4), (100, 50, 10.7),
    (200, 15, 4189), (200, 50, 170), (200, 100, 15.8), (500, 50, 11817), (500, 100, 1100),
    (500, 250, 26.4),
]  # fmt: skip
# ISO 14644-9:2012, table 1: class, size [um], most particles a square metre. From memory: of the
# standard only its scope was found printed (0.05 to 500 um; the edition of 2022 speaks of grades).
CLASSES = [
    (1, 0.1, 100), (1, 0.5, 20), (3, 1, 1000), (3, 5, 200), (5, 0.5, 200_000), (5, 1, 100_000),
    (5, 10, 10_000), (5, 100, 1000), (7, 50, 200_000), (8, 500, 200_000),
]  # fmt: skip


@pytest.mark.parametrize(("level", "size_um", "most"), LEVELS)
def test_a_product_level_is_that_of_the_table(level: float, size_um: float, most: float) -> None:
    count = round(1000 * most)  # on a thousand times the reference area of 0.1 m2
    assert product_level(count, 1e8, size_um) == pytest.approx(level, rel=0.003)


@pytest.mark.parametrize(("step", "size_um", "most"), CLASSES)
def test_a_surface_class_is_that_of_the_table(step: float, size_um: float, most: int) -> None:
    assert surface_class(most, 1e6, size_um) == step
    assert surface_class(2 * most, 1e6, size_um) in (
        pytest.approx(step + 0.4),
        None,
    )  # log 2 = 0.301
    assert surface_class(most, 1e6, 600) is None


def test_the_interval_of_a_removal_is_that_of_two_poisson_rates() -> None:
    # Fay: Testing the Ratio of Two Poisson Rates (vignette of rateratio.test, 2022), section 1: 2
    # events in 17877 and 9 in 16660, ratio 0.2070941557, from 0.02177406 to 1.00054910. Opened.
    areas = 16660 / 17877
    share, low, high = removal_share(before=9, after=2)
    ratios = [(1 - each) * areas for each in (share, high, low)]
    assert ratios == pytest.approx([0.2070941557, 0.02177406, 1.00054910], rel=1e-6)


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
