"""From a picture's codes to light."""

from __future__ import annotations

import pytest

from cutcheck.light import LINEAR, LINEAR32


def test_srgb_is_decoded() -> None:
    """IEC 61966-2-1: code 0 is no light, 255 all of it, 10 is 10/255/12.92, and 188 very nearly a half."""
    for table in (LINEAR, LINEAR32):
        assert table[[0, 255]].tolist() == [0.0, 1.0]
        assert table[10] == pytest.approx(10 / 255 / 12.92, rel=1e-6)
        assert table[188] == pytest.approx(0.5029, abs=1e-3)
