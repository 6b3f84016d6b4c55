"""From the codes of a picture to light: what a code of 0 to 255 means in parts of white."""

from __future__ import annotations

import numpy as np

_CODE = np.arange(256) / 255.0
# IEC 61966-2-1: the linear light of an sRGB code, 0 to 1, (256,) float64.
LINEAR = np.where(_CODE <= 0.04045, _CODE / 12.92, ((_CODE + 0.055) / 1.055) ** 2.4)
LINEAR32 = LINEAR.astype(np.float32)  # for pictures, which are looked up in it
