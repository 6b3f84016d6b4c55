"""Render photos of cut vegetables beside the reference card, with exact truth in JSON beside each.

A development tool: it needs Blender's `bpy` (5.0, Python 3.11), numpy, opencv-python-headless and pillow.

    python sample_images/render.py --list
    python sample_images/render.py --scene carrot-small-dice-white-board --out /tmp/photos
"""

from __future__ import annotations

import argparse
import sys
import time
import tomllib
from pathlib import Path

HERE = Path(__file__).resolve().parent


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--table", type=Path, default=HERE / "scenes.toml", help="TOML table of scenes")
    parser.add_argument("--list", action="store_true", help="name the scenes and stop")
    parser.add_argument("--scene", action="append", help="scene to render, may be repeated; else all")
    parser.add_argument("--out", type=Path, default=Path(), help="folder for NAME.jpg and NAME.json")
    parser.add_argument("--width", type=int, default=4000, help="longer side of the photo, px")
    parser.add_argument("--samples", type=int, default=10, help="light paths per pixel")
    parser.add_argument("--threads", type=int, default=1)
    parser.add_argument("--again", action="store_true", help="render even where the photo is there already")
    options = parser.parse_args()
    if not options.table.is_file():
        print(f"There is no table of scenes at {options.table}. Give one with --table.", file=sys.stderr)
        return 2
    scenes = tomllib.loads(options.table.read_text(encoding="utf-8"))
    if options.list:
        for name, spec in scenes.items():
            cut = spec.get("cut") or "-"
            print(f"{name:42} {cut:16} {spec['produce']:12} {spec['board']:11} {spec['light']}")
        return 0
    wanted = options.scene or list(scenes)
    unknown = [name for name in wanted if name not in scenes]
    if unknown:
        print(f"There is no scene {', '.join(unknown)}. See --list.", file=sys.stderr)
        return 2
    try:
        from rendering.compose import render_scene
    except ImportError as missing:
        print(f"Rendering needs a module that is not installed: {missing.name}. "
              "Run: pip install bpy==5.0.1 numpy opencv-python-headless pillow (Python 3.11).",
              file=sys.stderr)
        return 2
    for name in wanted:
        if (options.out / f"{name}.jpg").exists() and not options.again:
            continue
        start = time.monotonic()
        truth = render_scene(name, scenes[name], options.out, options.width, options.samples, options.threads)
        print(f"{name}: {len(truth['pieces'])} pieces, {time.monotonic() - start:.0f} s", flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
