"""Weights: read as cooks write them, shown as cooks read them. Inside the code a weight is a float in grams.

The pound is 453.59237 g exactly, the ounce a sixteenth of it (international agreement of 1959).
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

__all__ = ["GRAMS_PER", "UNITS", "Amount", "WeightUnit", "read_amount", "show_weight", "split_amount"]

WeightUnit = Literal["auto", "g", "kg", "oz", "lb"]
UNITS: tuple[WeightUnit, ...] = ("auto", "g", "kg", "oz", "lb")
GRAMS_PER: dict[str, Fraction] = {
    "g": Fraction(1),
    "kg": Fraction(1000),
    "oz": Fraction(45359237, 1600000),
    "lb": Fraction(45359237, 100000),
}
# More than this in one line is a slip of the pen: ten tonnes, or ten million pieces.
MOST_GRAMS, MOST_PIECES = 10_000_000, 10_000_000

_UNIT_WORDS = {
    "g": ("g", "gr", "gram", "grams", "gramme", "grammes"),
    "kg": ("kg", "kilo", "kilos", "kilogram", "kilograms", "kilogramme", "kilogrammes"),
    "oz": ("oz", "ounce", "ounces"),
    "lb": ("lb", "lbs", "pound", "pounds"),
    "pieces": ("piece", "pieces", "pc", "pcs"),
}
_UNITS = {word: unit for unit, words in _UNIT_WORDS.items() for word in words}
_NUMBER = r"[-−]?(?:\d+[ ]+\d+/\d+|\d+/\d+|\d+(?:[.,]\d+)?|[.,]\d+)"
_AMOUNT = re.compile(rf"(?P<number>{_NUMBER})\s*(?P<unit>[a-zA-Z]+)\.?", re.ASCII)
_AMOUNT_BARE = rf"{_NUMBER}\s*[a-zA-Z]+\.?"
_POUNDS_OUNCES = re.compile(rf"(?P<lb>{_NUMBER})\s*(?:lbs?|pounds?)\s*(?P<oz>{_NUMBER})\s*(?:oz|ounces?)")


@dataclass(frozen=True, slots=True)
class Amount:
    """What is needed: ``grams``, or a number of ``pieces``; the other is None."""

    grams: float | None = None
    pieces: int | None = None


def read_amount(text: str) -> Amount:
    """``500 g``, ``1,5 kg``, ``1/2 lb``, ``1 lb 4 oz``, ``40 pieces``. A ValueError says what is wrong."""
    plain = _plain(text)
    if both := _POUNDS_OUNCES.fullmatch(plain):
        grams = _number(both["lb"]) * GRAMS_PER["lb"] + _number(both["oz"]) * GRAMS_PER["oz"]
        return _weight(text, grams, _number(both["oz"]) < 0)
    match = _AMOUNT.fullmatch(plain)
    if match is None:
        raise ValueError(
            f"'{text.strip()}' is not an amount: write for example 500 g, 1.5 kg, 2 lb or 40 pieces"
        )
    unit = _UNITS.get(match["unit"].casefold())
    if unit is None:
        raise ValueError(f"'{match['unit']}' is not a unit: take g, kg, oz, lb or pieces")
    number = _number(match["number"])
    if unit != "pieces":
        return _weight(text, number * GRAMS_PER[unit])
    if number.denominator != 1:
        raise ValueError(f"'{text.strip()}' is not a whole number of pieces")
    if not 0 < number <= MOST_PIECES:
        raise ValueError(f"'{text.strip()}': pieces go from 1 to {MOST_PIECES}")
    return Amount(pieces=int(number))


def split_amount(text: str) -> tuple[str, str]:
    """The words without the amount at their end or start, and the amount; empty where there is none."""
    plain = _plain(text)
    for end in (rf"(?:^|(?<=\s))(?:{_POUNDS_OUNCES.pattern}|{_AMOUNT_BARE})$", rf"^(?:{_AMOUNT_BARE})(?=\s)"):
        if match := re.search(end, plain):
            return f"{plain[: match.start()]} {plain[match.end() :]}".strip(), match[0]
    return plain, ""


def show_weight(grams: float, unit: WeightUnit = "auto") -> str:
    """A weight in words. ``auto`` is g below a kilogram, then kg; ``lb`` gives pounds and ounces."""
    if unit == "auto":
        unit = "g" if grams < 999.5 else "kg"
    if unit == "g":
        return f"{grams:.1f} g" if grams < 9.95 else f"{grams:.0f} g"
    if unit == "kg":
        return f"{grams / 1000:.{3 if grams < 999.5 else 2}f} kg"
    ounces = float(Fraction(grams) / GRAMS_PER["oz"])
    if unit == "oz" or round(ounces, 1) < 16:
        return f"{ounces:.{2 if ounces < 0.995 else 1}f} oz"
    tenths = round(ounces * 10)
    pounds, rest = divmod(tenths, 160)
    return f"{pounds} lb {rest / 10:.1f} oz" if rest else f"{pounds} lb"


def _plain(text: str) -> str:
    """One line with plain spaces, and vulgar fractions written out: ``1½`` is ``1 1/2``."""
    spaced = re.sub(r"(?<=\d)(?=[¼-¾⅐-⅞])", " ", text)
    folded = unicodedata.normalize("NFKC", spaced).replace("\u2044", "/")
    return " ".join(folded.split())


def _number(text: str) -> Fraction:
    text = text.replace(",", ".").replace("−", "-")
    sign = -1 if text.startswith("-") else 1
    try:
        return sign * sum((Fraction(part) for part in text.lstrip("-").split()), Fraction(0))
    except ZeroDivisionError:
        raise ValueError(f"'{text}' divides by nothing") from None


def _weight(text: str, grams: Fraction, backwards: bool = False) -> Amount:
    if grams <= 0 or backwards:
        raise ValueError(f"'{text.strip()}': a weight must be above zero")
    if grams > MOST_GRAMS:
        raise ValueError(f"'{text.strip()}' is more than ten tonnes: look at the unit")
    return Amount(grams=float(grams))
