"""A term of an invented cook, to show what 'My progress' looks like before there is anything of one's own."""

from __future__ import annotations

import json
from importlib import resources

from cutcheck.journal import Cook, Entry, SideEntry
from cutcheck.progress import Progress, make_progress

NOISE_MM, MEAN_U_MM = 0.06, 0.03  # as a phone of today measures a tray of thirty pieces


def sample_term() -> Progress:
    """The progress of the cook in ``sample/term.json``."""
    told = json.loads(resources.files("cutcheck.page").joinpath("sample", "term.json").read_text("utf-8"))
    cook = Cook(0, told["cook"], f"{told['trays'][0]['on']}T09:00:00", checks=len(told["trays"]))
    low, high = told["on_size_mm"]
    entries, sides = [], []
    for number, tray in enumerate(told["trays"], 1):
        when = f"{tray['on']}T10:00:00"
        entries.append(
            Entry(
                number=number,
                cook=cook,
                practised=when,
                cut=told["cut"],
                standard=told["standard"],
                mark=tray["mark"],
                mark_low=tray["low"],
                mark_high=tray["high"],
                on_size=tray["on_size"],
                counted=tray["counted"],
                file="invented.jpg",
                sha256="",
                kept=when,
                program_version="",
                cut_version="",
                produce="carrot",
                has_photo=False,
            )
        )
        for side, (mean, spread) in tray["sides_mm"].items():
            sides.append(
                SideEntry(
                    number, when, side, side, low, high, mean, MEAN_U_MM, spread, NOISE_MM, tray["counted"],
                    tray["on_size"],
                )
            )  # fmt: skip
    return make_progress(cook, entries, sides)
