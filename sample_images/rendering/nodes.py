"""A few words for Blender's shader nodes, so that materials read as recipes."""

from __future__ import annotations

from typing import Any

import bpy

Colour = tuple[float, float, float]


def srgb(r: int, g: int, b: int) -> Colour:
    """Linear colour of an sRGB triple (0 to 255), by IEC 61966-2-1."""
    def linear(v: int) -> float:
        s = v / 255
        return s / 12.92 if s <= 0.04045 else ((s + 0.055) / 1.055) ** 2.4
    return linear(r), linear(g), linear(b)


class Recipe:
    """One material: nodes are added by the methods, each returns an output socket."""

    def __init__(self, name: str) -> None:
        self.material = bpy.data.materials.new(name)
        self.material.use_nodes = True
        self.tree = self.material.node_tree
        self.tree.nodes.clear()
        self.surface = self.tree.nodes.new("ShaderNodeBsdfPrincipled")
        out = self.tree.nodes.new("ShaderNodeOutputMaterial")
        self.tree.links.new(self.surface.outputs[0], out.inputs["Surface"])

    def set(self, **values: Any) -> None:
        """Inputs of the surface: sockets or plain values; names with _ for a space."""
        for name, value in values.items():
            self._plug(self.surface.inputs[name.replace("_", " ")], value)

    def _plug(self, target: Any, value: Any) -> None:
        if isinstance(value, bpy.types.NodeSocket):
            self.tree.links.new(value, target)
        elif isinstance(value, tuple) and len(value) == 3 and len(target.default_value) == 4:
            target.default_value = (*value, 1.0)
        else:
            target.default_value = value

    def attribute(self, name: str) -> Any:
        node = self.tree.nodes.new("ShaderNodeAttribute")
        node.attribute_name = name
        return node.outputs["Vector"]

    def position(self) -> Any:
        return self.tree.nodes.new("ShaderNodeNewGeometry").outputs["Position"]

    def stretch(self, vector: Any, scale: tuple[float, float, float], turn_deg: float = 0.0,
                move: tuple[float, float, float] = (0, 0, 0)) -> Any:
        node = self.tree.nodes.new("ShaderNodeMapping")
        self._plug(node.inputs["Vector"], vector)
        node.inputs["Location"].default_value = move
        node.inputs["Rotation"].default_value = (0, 0, turn_deg * 0.0174533)
        node.inputs["Scale"].default_value = scale
        return node.outputs[0]

    def noise(self, vector: Any, scale: float, detail: float = 3.0, distortion: float = 0.0) -> Any:
        """About 0.5 +- 0.15; `scale` in 1/mm."""
        node = self.tree.nodes.new("ShaderNodeTexNoise")
        self._plug(node.inputs["Vector"], vector)
        node.inputs["Scale"].default_value = scale
        node.inputs["Detail"].default_value = detail
        node.inputs["Distortion"].default_value = distortion
        return node.outputs[0]

    def math(self, kind: str, a: Any, b: Any = 0.0) -> Any:
        node = self.tree.nodes.new("ShaderNodeMath")
        node.operation = kind
        self._plug(node.inputs[0], a)
        self._plug(node.inputs[1], b)
        return node.outputs[0]

    def radius(self, vector: Any) -> Any:
        """Distance from the axis x = 0, y = 0, z along the axis."""
        flat = self.stretch(vector, (1, 1, 0))
        node = self.tree.nodes.new("ShaderNodeVectorMath")
        node.operation = "LENGTH"
        self._plug(node.inputs[0], flat)
        return node.outputs["Value"]

    def ramp(self, factor: Any, *stops: tuple[float, Colour]) -> Any:
        node = self.tree.nodes.new("ShaderNodeValToRGB")
        self._plug(node.inputs[0], factor)
        elements = node.color_ramp.elements
        while len(elements) > 1:
            elements.remove(elements[0])
        elements[0].position, elements[0].color = stops[0][0], (*stops[0][1], 1.0)
        for place, colour in stops[1:]:
            elements.new(place).color = (*colour, 1.0)
        return node.outputs["Color"]

    def bump(self, height: Any, distance: float, strength: float = 1.0) -> None:
        node = self.tree.nodes.new("ShaderNodeBump")
        node.inputs["Strength"].default_value = strength
        node.inputs["Distance"].default_value = distance
        self._plug(node.inputs["Height"], height)
        self._plug(self.surface.inputs["Normal"], node.outputs[0])

    def picture(self, image: Any) -> Any:
        node = self.tree.nodes.new("ShaderNodeTexImage")
        node.image = image
        node.extension = "EXTEND"
        return node.outputs["Color"]
