"""A standard of the user's own: the text of a new file, to be changed in a text editor."""

from __future__ import annotations

from importlib.resources import files

from cutcheck.cuts import Figure, entries
from cutcheck.errors import CutcheckError
from cutcheck.standards import SHIPPED

_HEAD = """\
# A standard of your own, begun from the {base} one. Use it with --standard and this file's name.
#
# Change the sizes to those that your class is held to, and take out the cuts that you don't teach. Write a
# size as a number, a fraction in quotes ("1/8") or a range ([40, 50]), in {unit}; or with a unit of its own:
# {{ size = 6, unit = "mm" }}. `from` names a published figure (`cutcheck cuts NAME` lists them); leave it out
# for a size of your own. A tolerance for one size alone: {{ size = 6, unit = "mm", plus_minus = 1 }}.

name = "{name}"
title = "{name}"
"""
_OFFERED = """\
# Published tolerances there are, but none for cutting by hand in a kitchen. To hold a cut to one, write it
# beside the size, as in: edge = {{ size = "1/4", unit = "in", plus_minus = "1/8" }}
{rows}

[tolerance]"""


def new_standard(name: str, base: str = "metric") -> str:
    """The text of a new standard called ``name``, with the sizes of ``base`` (metric or inch). The published
    tolerances are offered beside the house rule. Raises ``unknown-standard``."""
    if base not in SHIPPED:
        raise CutcheckError("unknown-standard", standard=base, known=", ".join(SHIPPED))
    text = files("reference_dims").joinpath(f"{base}.toml").read_text("utf-8")
    safe = "".join(c for c in name if c.isprintable() and c not in '"\\').strip() or "own"
    head = _HEAD.format(base=base, unit="inches" if base == "inch" else "mm", name=safe)
    rows = "\n".join(f"#   {cut}: {f.printed} ({f.source.title})" for cut, f in published_tolerances())
    body = text[text.index("unit = ") :].replace("[tolerance]", _OFFERED.format(rows=rows), 1)
    return head + body


def published_tolerances() -> tuple[tuple[str, Figure], ...]:
    """The figures that come with a tolerance, each with the cut it belongs to."""
    return tuple((e.name, f) for e in entries().values() for f in e.figures if f.plus_minus_mm is not None)
