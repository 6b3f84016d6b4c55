"""``cutcheck gestures``, ``station``, ``safety`` and ``produce``: what comes before the knife."""

from __future__ import annotations

import json
from pathlib import Path

import click

from cutcheck.errors import CutcheckError
from cutcheck.whole_file import write_whole

AS_JSON = click.option("--json", "as_json", is_flag=True, help="Print JSON.")


@click.command()
@click.argument("name", required=False)
@click.option("--for", "vegetable", metavar="VEGETABLE", help="Only the gestures for this vegetable.")
@AS_JSON
def gestures(name: str | None, vegetable: str | None, as_json: bool) -> None:
    """The gestures of preparing: éplucher, monder, effiler and the others."""
    from cutcheck import preparation, preparation_table
    from cutcheck.produce import find_vegetable, vegetables

    if name is not None:
        found = preparation.find_gesture(name)
        produce = [vegetables()[v].english for v in found.produce]
        click.echo(_json(found.to_dict()) if as_json else preparation_table.one_gesture(found, produce))
        return
    chosen = tuple(preparation.gestures().values())
    if vegetable is not None:
        chosen = preparation.gestures_for(find_vegetable(vegetable)[0])
    click.echo(_json([g.to_dict() for g in chosen]) if as_json else preparation_table.gesture_list(chosen))


@click.command()
@click.option("--left-handed", is_flag=True, help="The places mirrored.")
@click.option("--out", metavar="FILE.svg", help="Write the drawing of the station.")
@AS_JSON
def station(left_handed: bool, out: str | None, as_json: bool) -> None:
    """The station: raw, waste, finished, and where the tools lie."""
    from cutcheck import preparation, preparation_table
    from cutcheck.station_drawing import station_svg

    if out is not None:
        _write(out, station_svg(left_handed))
        click.echo(f"Written: {out}", err=True)
    shown = preparation.station()
    click.echo(
        _json(shown.to_dict(left_handed)) if as_json else preparation_table.station_text(shown, left_handed)
    )


@click.command()
@click.argument("topic", type=click.Choice(["all", "washing", "cautions"]), default="all")
@AS_JSON
def safety(topic: str, as_json: bool) -> None:
    """Washing (and vinegar), and the usual cautions with knives, hygiene and allergens."""
    from cutcheck import preparation, preparation_table

    defer = preparation.defer_text()
    if as_json:
        data: dict[str, object] = {}
        if topic != "cautions":
            data["washing"] = preparation.washing().to_dict()
        if topic != "washing":
            data["cautions"] = [c.to_dict() for c in preparation.cautions()]
        click.echo(_json({**data, "defer": defer}))
        return
    parts = []
    if topic != "cautions":
        parts.append(preparation_table.washing_text(preparation.washing()))
    if topic != "washing":
        parts.append("Cautions\n" + preparation_table.caution_list(preparation.cautions(), defer))
    click.echo("\n\n".join(parts))


@click.command()
@click.argument("name", required=False)
@click.option("--unit", type=click.Choice(["auto", "g", "kg", "oz", "lb"]), default="auto", show_default=True)
@AS_JSON
def produce(name: str | None, unit: str, as_json: bool) -> None:
    """The vegetables: what is kept of each by every source, weights, trimmings."""
    from typing import cast

    from cutcheck import preparation_table
    from cutcheck.produce import find_vegetable, vegetables
    from cutcheck.weights import WeightUnit

    if name is not None:
        found = find_vegetable(name)[0]
        text = preparation_table.one_vegetable(found, cast(WeightUnit, unit))
        click.echo(_json(found.to_dict()) if as_json else text)
        return
    every = tuple(vegetables().values())
    click.echo(_json([v.to_dict() for v in every]) if as_json else preparation_table.vegetable_list(every))


def _write(out: str, text: str) -> None:
    file = Path(out)
    if file.suffix.lower() != ".svg":
        raise CutcheckError(
            "bad-option", problem=f"'{out}' does not end in .svg.", remedy="Name the file station.svg, say."
        )
    write_whole(file, text.encode())


def _json(data: object) -> str:
    return json.dumps(data, ensure_ascii=False, indent=2)
