"""Colour differences against the 34 published pairs.

Sharma, Wu, Dalal: The CIEDE2000 color-difference formula, Color Res. Appl. 30 (2005) 21-30, table 1;
read in open copies of the table, not in the article.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from triage.picture.colour import ciede2000, lab_from_srgb

PAIRS = np.loadtxt(Path(__file__).with_name("colour_pairs.txt"))
assert PAIRS.shape == (34, 7)


@pytest.mark.parametrize("pair", PAIRS, ids=[str(number) for number in range(1, 35)])
def test_the_published_difference_comes_out_both_ways(pair: np.ndarray) -> None:
    first, second, published = pair[:3], pair[3:6], pair[6]
    assert float(ciede2000(first, second)) == pytest.approx(published, abs=5.1e-5)
    assert float(ciede2000(second, first)) == pytest.approx(published, abs=5.1e-5)


def test_white_black_and_red_have_their_known_colours() -> None:
    # CIELAB of the sRGB primaries under D65 as commonly tabled: red 53.24, 80.09, 67.20.
    lab = lab_from_srgb(np.array([[1.0, 1, 1], [0, 0, 0], [1, 0, 0]]))
    assert lab == pytest.approx(np.array([[100, 0, 0], [0, 0, 0], [53.24, 80.09, 67.20]]), abs=0.02)
