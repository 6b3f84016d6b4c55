"""Millimetres and inches: the one place where a length becomes text, and text a length.

Inside the code every length is a float in mm; inches are a way of showing them (1 in = 25.4 mm exactly, the
international inch of 1959). ``show`` prints a measured value with its give-or-take by one rule, and
``read_shown`` reads that text back. ``read_size`` reads a size as books print it: ``1/8``, ``2 1/2``.
"""

from __future__ import annotations

import math
import re
from fractions import Fraction
from typing import Literal

Unit = Literal["mm", "in"]
PrintedUnit = Literal["mm", "cm", "in"]

MM_PER: dict[str, Fraction] = {"mm": Fraction(1), "cm": Fraction(10), "in": Fraction(254, 10)}

_SIZE = re.compile(r"(?:(?P<whole>\d+)[ -])?(?P<top>\d+)/(?P<bottom>\d+)|(?P<number>\d+(?:\.\d+)?)")
_SHOWN = re.compile(r"(?P<value>-?\d+(?:\.\d+)?) (?P<unit>mm|in)(?:, give or take (?P<give>\d+(?:\.\d+)?))?")


def to_mm(value: Fraction | float | int, unit: str) -> float:
    """``value`` in ``unit`` (mm, cm, in) as float mm; the factor is exact, so 1/4 in is 6.35."""
    return float(Fraction(value) * MM_PER[unit])


def read_size(text: str | int | float) -> Fraction:
    """A positive size as books print it, in its own unit. Raises ValueError when it is none."""
    if isinstance(text, bool) or not isinstance(text, str | int | float):
        raise ValueError(f"{text!r} is not a size")
    match = _SIZE.fullmatch(str(text).strip())
    if match is None or match["bottom"] == "0":
        raise ValueError(f"'{text}' is not a size")
    if match["number"]:
        size = Fraction(match["number"])
    else:
        size = Fraction(int(match["whole"] or 0)) + Fraction(int(match["top"]), int(match["bottom"]))
    if size <= 0:
        raise ValueError(f"'{text}' is not more than nothing")
    return size


def show_fraction(value: Fraction) -> str:
    """A size as a cook reads it: ``1/8``, ``2 1/2``; a decimal where it is no part of 2, 3, 4 ... 32."""
    if value.denominator in (1, 2, 3, 4, 8, 12, 16, 32):
        whole, rest = divmod(value, 1)
        if not rest:
            return str(whole)
        part = f"{rest.numerator}/{rest.denominator}"
        return f"{whole} {part}" if whole else part
    return f"{float(value):.3f}".rstrip("0").rstrip(".")


def show_length(mm: float, unit: Unit = "mm") -> str:
    """A size without a give-or-take: to 0.1 mm, half up, or in inches as the nearest 1/16 or 1/32 where
    that is within 0.05 mm (a fifth of what a ruler can tell), else to 0.01 in."""
    if unit == "mm":
        return _half_up(mm, 1).removesuffix(".0") + " mm"
    for parts in (16, 32):
        nearest = Fraction(round(mm / 25.4 * parts), parts)
        if nearest and abs(float(nearest) * 25.4 - mm) <= 0.05:
            return f"{show_fraction(nearest)} in"
    return f"{mm / 25.4:.2f} in"


def show_on_ruler(mm: float) -> str:
    """A length as a cook reads it off an inch ruler, to the nearest 1/32: ``1/4 in``, ``2 3/32 in``."""
    nearest = Fraction(max(math.floor(mm / 25.4 * 32 + 0.5), 0), 32)
    return f"{show_fraction(nearest)} in" if nearest else "less than 1/32 in"


def show_range(low_mm: float, high_mm: float, unit: Unit = "mm") -> str:
    """A size or a range of sizes: ``3 mm``, ``40–50 mm``, ``1/8–1/4 in``."""
    low, high = show_length(low_mm, unit), show_length(high_mm, unit)
    return low if low == high else f"{low.removesuffix(f' {unit}')}–{high}"


def show(mm: float, u95: float | None = None, unit: Unit = "mm") -> str:
    """A measured value: ``6.32 mm, give or take 0.08``.

    The rule: the give-or-take is rounded up to one significant digit (two if the first is a 1), and the value
    ends at the same decimal, half of it rounded up. Rounded up, because a tighter figure than was measured
    must not be shown. Without one the value has 0.1 mm or 0.01 in.
    """
    factor = 1.0 if unit == "mm" else 25.4
    value = mm / factor
    if u95 is None:
        return f"{_half_up(value, 1 if unit == 'mm' else 2)} {unit}"
    give = u95 / factor
    if not math.isfinite(give) or give < 0:
        raise ValueError(f"a give-or-take of {u95} can't be shown")
    decimals, give = _round_up(give)
    return f"{_half_up(value, decimals)} {unit}, give or take {give:.{decimals}f}"


def read_shown(text: str) -> tuple[float, float | None]:
    """What ``show`` printed: (value, give-or-take) in mm. Raises ValueError on any other text."""
    match = _SHOWN.fullmatch(text)
    if match is None:
        raise ValueError(f"'{text}' is not a value as this program prints it")
    factor = 1.0 if match["unit"] == "mm" else 25.4
    give = None if match["give"] is None else float(match["give"]) * factor
    return float(match["value"]) * factor, give


def _half_up(value: float, decimals: int) -> str:
    """Rounded as people do, half up, whatever binary makes of the half: 1/4 in, 6.35 mm, is 6.4 mm."""
    parts = 10**decimals
    return f"{math.floor(value * parts + 0.5 + 1e-9) / parts:.{decimals}f}"


def _round_up(give: float) -> tuple[int, float]:
    """Decimals (0 to 4) and the rounded-up give-or-take."""
    if give < 1e-4:
        return 4, 0.0001 if give > 0 else 0.0
    exponent = math.floor(math.log10(give))
    digits = 1 if give / 10**exponent < 1.95 else 0
    decimals = min(max(digits - exponent, 0), 4)
    # the small slack keeps 0.2, which is a little more than 2/10 in binary, from becoming 0.3
    rounded = math.ceil(give * 10**decimals - 1e-9) / 10**decimals
    return decimals, rounded
