"""What the pieces lie on: boards of plastic, slate, wood and steel, and the table beneath."""

from __future__ import annotations

from typing import Any

import numpy as np

from .nodes import Recipe, srgb

PLASTIC = {
    "white": srgb(232, 232, 226), "green": srgb(60, 142, 74), "blue": srgb(42, 96, 170),
    "red": srgb(184, 44, 40), "yellow": srgb(232, 200, 62), "brown": srgb(112, 76, 50),
}
NAMES = [*PLASTIC, "slate", "light-wood", "dark-wood", "steel"]


def material(name: str, rng: np.random.Generator) -> Any:
    """Material of the board `name`, with scratches, grain or brushing."""
    recipe = Recipe(f"board-{name}")
    place = recipe.stretch(recipe.position(), (1, 1, 1), float(rng.uniform(-8, 8)),
                           (float(rng.uniform(-300, 300)), float(rng.uniform(-300, 300)), 0))
    if name in PLASTIC:
        base = PLASTIC[name]
        dark = (base[0] * 0.88, base[1] * 0.88, base[2] * 0.88)
        stain = recipe.noise(place, 0.012, 1)
        recipe.set(Base_Color=recipe.ramp(stain, (0.3, dark), (0.7, base)), Roughness=0.48, IOR=1.45)
        scratch = recipe.noise(recipe.stretch(place, (0.02, 2.5, 1), 14), 1.0, 1)
        recipe.bump(scratch, 0.08)
    elif name == "slate":
        cloud = recipe.noise(place, 0.03, 4)
        recipe.set(Base_Color=recipe.ramp(cloud, (0.3, srgb(44, 46, 50)), (0.75, srgb(78, 80, 84))),
                   Roughness=0.7)
        recipe.bump(recipe.noise(place, 0.4, 2), 0.4)
    elif name in ("light-wood", "dark-wood"):
        wave = recipe.noise(recipe.stretch(place, (0.006, 0.12, 0.1)), 1.0, 2, 1.2)
        fibre = recipe.noise(recipe.stretch(place, (0.05, 2.2, 1.0)), 1.0, 2)
        mix = recipe.math("ADD", recipe.math("MULTIPLY", wave, 0.65), recipe.math("MULTIPLY", fibre, 0.35))
        light = [srgb(176, 132, 84), srgb(206, 166, 112), srgb(222, 188, 138)]
        dark = [srgb(58, 34, 22), srgb(92, 58, 38), srgb(120, 80, 52)]
        tones = light if name == "light-wood" else dark
        recipe.set(Base_Color=recipe.ramp(mix, (0.34, tones[0]), (0.5, tones[1]), (0.66, tones[2])),
                   Roughness=0.55)
    elif name == "steel":
        brush = recipe.noise(recipe.stretch(place, (0.01, 4.0, 1.0), 5), 1.0, 1)
        recipe.set(Base_Color=recipe.ramp(brush, (0.3, srgb(150, 150, 152)), (0.7, srgb(186, 186, 188))),
                   Metallic=1.0, Roughness=0.42)
        recipe.bump(brush, 0.02)
    else:
        raise ValueError(f"board {name!r}: choose one of {', '.join(NAMES)}")
    return recipe.material


def table(rng: np.random.Generator) -> Any:
    """Material of the table under the board: painted, stone or wood."""
    kind = int(rng.integers(0, 3))
    recipe = Recipe("table")
    place = recipe.position()
    if kind == 0:
        recipe.set(Base_Color=srgb(150, 150, 146), Roughness=0.5)
    elif kind == 1:
        recipe.set(Base_Color=recipe.ramp(recipe.noise(place, 0.3, 6), (0.35, srgb(96, 92, 90)),
                                          (0.65, srgb(186, 180, 172))), Roughness=0.35)
    else:
        grain = recipe.noise(recipe.stretch(place, (0.01, 0.3, 0.1), 80), 1.0, 5, 0.8)
        recipe.set(Base_Color=recipe.ramp(grain, (0.35, srgb(120, 78, 46)), (0.65, srgb(160, 112, 70))),
                   Roughness=0.45)
    return recipe.material


def plain(name: str, colour: tuple[float, float, float], roughness: float, metallic: float = 0.0) -> Any:
    """One colour throughout: a blade, a handle, crumbs."""
    recipe = Recipe(name)
    recipe.set(Base_Color=colour, Roughness=roughness, Metallic=metallic)
    return recipe.material


def cloth(rng: np.random.Generator) -> Any:
    """Woven cotton with stripes."""
    recipe = Recipe("cloth")
    place = recipe.attribute("root")
    across = recipe.radius(recipe.stretch(place, (1, 0, 0)))
    stripe = recipe.math("SINE", recipe.math("MULTIPLY", across, 0.45))
    tones = [srgb(236, 234, 226), srgb(*[int(v) for v in rng.integers(40, 170, 3)])]
    recipe.set(Base_Color=recipe.ramp(stripe, (0.80, tones[0]), (0.86, tones[1])), Roughness=0.95)
    recipe.bump(recipe.noise(place, 2.0, 2), 0.2)
    return recipe.material


def paper(image: Any) -> Any:
    """Matt paper that shows `image`; printed black is no blacker than 4 % and paper no whiter than 88 %."""
    recipe = Recipe("paper")
    node = recipe.tree.nodes.new("ShaderNodeMapRange")
    recipe.tree.links.new(recipe.picture(image), node.inputs["Value"])
    node.inputs["To Min"].default_value, node.inputs["To Max"].default_value = 0.035, 0.86
    recipe.set(Base_Color=node.outputs[0], Roughness=0.95, Specular_IOR_Level=0.15)
    return recipe.material
