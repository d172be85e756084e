"""Photographs from files: raw files as sRGB, and what is said where a library is missing."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest
from skimage.color.colorconv import xyz_from_rgb

from triage.errors import TriageError
from triage.picture.colour import encoded_srgb
from triage.picture.files import read_both, read_photo

tifffile = pytest.importorskip("tifffile", reason="the extra picture is not installed")


def raw_file(place: Path, linear: np.ndarray) -> Path:
    """Write a raw file as cameras do (DNG 1.4): one colour a point, and how the sensor sees colours."""
    points = np.zeros(linear.shape[:2], np.uint16)
    for (row, column), colour in {(0, 0): 0, (0, 1): 1, (1, 0): 1, (1, 1): 2}.items():
        points[row::2, column::2] = (linear[row::2, column::2, colour] * 65535).round()
    sees = [
        part for each in np.linalg.inv(xyz_from_rgb).ravel() for part in (round(1e4 * each), 10_000)
    ]
    tags = [
        (50706, "B", 4, (1, 4, 0, 0), True),
        (50708, "s", 0, "drawn", True),
        (33421, "H", 2, (2, 2), True),  # red green / green blue
        (33422, "B", 4, (0, 1, 1, 2), True),
        (50721, "2i", 9, tuple(sees), True),
        (50728, "2I", 3, (1, 1, 1, 1, 1, 1), True),  # the light of the day it was taken in
        (50778, "H", 1, 21, True),  # D65
        (50714, "I", 1, 0, True),
        (50717, "I", 1, 65535, True),
    ]
    tifffile.imwrite(place, points, photometric=32803, extratags=tags, metadata=None)
    return place


def test_a_raw_file_is_read_as_srgb(tmp_path: Path) -> None:
    pytest.importorskip("rawpy", reason="the extra picture is not installed")
    linear = np.full((200, 300, 3), 0.18)  # a grey card
    linear[:, :150] = 0.5, 0.2, 0.05
    got = read_photo(raw_file(tmp_path / "a.dng", linear))
    assert got.dtype == np.uint16
    for column in (70, 220):  # IEC 61966-2-1: 18 % of the light is 46 % of the scale
        expected = encoded_srgb(linear[100, column])
        assert got[100, column] / 65535 == pytest.approx(expected, abs=0.003)


@pytest.mark.parametrize(
    ("name", "library"), [("a.dng", "rawpy"), ("a.tif", "tifffile"), ("a.png", "PIL")]
)
def test_a_missing_library_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str, library: str
) -> None:
    monkeypatch.setitem(sys.modules, library, None)
    with pytest.raises(TriageError) as told:
        read_photo(tmp_path / name)
    assert library in told.value.message
    assert 'extra "picture"' in told.value.mend


def test_a_photo_is_read_small_as_it_was_held_and_both_by_the_same_factor(tmp_path: Path) -> None:
    """EXIF orientation 6: what the file calls its top stood at the right (Exif 2.3, table 4)."""
    image = pytest.importorskip("PIL.Image", reason="the extra picture is not installed")
    upper_red = np.zeros((1200, 1600, 3), np.uint8)
    upper_red[:600, :, 0] = 200
    turned = image.Exif()
    turned[0x0112] = 6
    image.fromarray(upper_red).save(tmp_path / "a.jpg", exif=turned)
    image.fromarray(upper_red[:, :800]).save(tmp_path / "b.jpg")
    first, second, factor = read_both(tmp_path / "a.jpg", tmp_path / "b.jpg", 400)
    assert (first.shape[:2], second.shape[:2], factor) == ((400, 300), (300, 200), 4)
    assert first[200, 250, 0] > 150
    assert first[200, 50, 0] < 50


def test_a_photo_in_printing_inks_is_read_in_colours(tmp_path: Path) -> None:
    """Its four inks are no colours of light: taken for them, each would tell a wrong shift."""
    image = pytest.importorskip("PIL.Image", reason="the extra picture is not installed")
    image.new("CMYK", (200, 200), (0, 255, 255, 0)).save(tmp_path / "a.jpg")  # no cyan: red
    assert read_photo(tmp_path / "a.jpg")[100, 100] == pytest.approx([255, 0, 0], abs=3)
