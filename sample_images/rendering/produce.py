"""What is cut: procedural materials, flesh first and skin second.

The mesh attribute 'root' holds mm in the vegetable's own frame (z along it), so that a piece shows
the core, the rings or the fibres of the place it was cut from.
"""

from __future__ import annotations

from typing import Any

from .nodes import Colour, Recipe, srgb

# name: (deep flesh, pale flesh, skin or None, subsurface share, roughness)
PALETTE: dict[str, tuple[Colour, Colour, Colour | None, float, float]] = {
    "carrot": (srgb(222, 104, 24), srgb(242, 150, 52), None, 0.10, 0.42),
    "turnip": (srgb(232, 228, 212), srgb(244, 241, 230), None, 0.12, 0.40),
    "potato": (srgb(226, 206, 140), srgb(240, 226, 172), None, 0.10, 0.45),
    "courgette": (srgb(208, 218, 150), srgb(228, 232, 184), srgb(38, 74, 26), 0.10, 0.40),
    "celery": (srgb(160, 192, 96), srgb(196, 214, 140), None, 0.10, 0.38),
    "beet": (srgb(92, 10, 34), srgb(128, 22, 56), None, 0.05, 0.35),
    "herb": (srgb(36, 84, 22), srgb(70, 122, 40), None, 0.05, 0.45),
    "onion": (srgb(222, 216, 202), srgb(244, 242, 232), None, 0.20, 0.30),
    "red-pepper": (srgb(196, 52, 30), srgb(214, 92, 60), srgb(178, 20, 16), 0.08, 0.32),
    "green-pepper": (srgb(120, 156, 60), srgb(168, 190, 104), srgb(44, 98, 24), 0.08, 0.32),
}


def materials(name: str, wet: float, seed: int) -> list[Any]:
    """[flesh, skin] of the vegetable `name`; `wet` from 0 (dry) to 1 (a film of water)."""
    deep, pale, skin, subsurface, rough = PALETTE[name]
    return [_flesh(name, deep, pale, subsurface, rough, wet, seed),
            _skin(name, skin if skin else deep, rough, wet)]


def _finish(recipe: Recipe, rough: float, wet: float, subsurface: float, radius_mm: float) -> None:
    recipe.set(Roughness=rough * (1 - 0.45 * wet), IOR=1.4, Subsurface_Weight=subsurface,
               Subsurface_Radius=(radius_mm, radius_mm * 0.6, radius_mm * 0.3), Subsurface_Scale=1.0,
               Coat_Weight=0.9 * wet, Coat_Roughness=0.08, Coat_IOR=1.33)


def _flesh(name: str, deep: Colour, pale: Colour, subsurface: float, rough: float, wet: float,
           seed: int) -> Any:
    recipe = Recipe(f"{name}-flesh")
    root = recipe.attribute("root")
    fine = recipe.noise(root, 1.1, 2)
    if name == "carrot":
        edge = recipe.math("MULTIPLY", recipe.noise(root, 0.35, 3), 5.0)
        r = recipe.math("DIVIDE", recipe.math("ADD", recipe.radius(root), edge), 16.0)
        colour = recipe.ramp(r, (0.30, pale), (0.44, srgb(238, 138, 44)), (0.50, srgb(248, 168, 80)),
                             (0.54, deep), (1.0, srgb(226, 112, 30)))
    elif name == "beet":
        wave = recipe.math("SINE", recipe.math("MULTIPLY", recipe.radius(root), 1.6))
        rings = recipe.math("ADD", recipe.math("MULTIPLY", wave, 0.3), fine)
        colour = recipe.ramp(rings, (0.2, deep), (0.8, pale))
    elif name == "celery":
        fibre = recipe.noise(recipe.stretch(root, (1.2, 1.2, 0.05)), 1.0, 3)
        colour = recipe.ramp(fibre, (0.35, deep), (0.65, pale))
    elif name == "onion":
        wave = recipe.math("SINE", recipe.math("MULTIPLY", recipe.radius(root), 1.9))
        colour = recipe.ramp(recipe.math("ADD", recipe.math("MULTIPLY", wave, 0.35), fine),
                             (0.12, deep), (0.45, pale), (1.0, pale))
    elif name == "herb":
        vein = recipe.noise(recipe.stretch(root, (0.5, 2.2, 1.0)), 0.8, 4, 0.6)
        colour = recipe.ramp(vein, (0.3, deep), (0.7, pale))
    else:
        colour = recipe.ramp(recipe.noise(root, 0.22 + 0.01 * (seed % 5), 3), (0.35, deep), (0.65, pale))
    recipe.set(Base_Color=colour)
    recipe.bump(fine, 0.06)
    _finish(recipe, rough, wet, subsurface, 1.2)
    return recipe.material


def _skin(name: str, colour: Colour, rough: float, wet: float) -> Any:
    recipe = Recipe(f"{name}-skin")
    root = recipe.attribute("root")
    bright = tuple(min(1.0, c * 1.9 + 0.01) for c in colour)
    speck = recipe.noise(root, 0.9, 5)
    recipe.set(Base_Color=recipe.ramp(speck, (0.45, colour), (0.72, (bright[0], bright[1], bright[2]))))
    _finish(recipe, rough * 0.7, wet, 0.0, 1.0)
    return recipe.material
