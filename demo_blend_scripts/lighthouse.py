"""The lighthouse's gallery: floor, rail, lamp room, lantern, sea, sky, lights; metres, floor at z = 0."""

from __future__ import annotations

from dataclasses import dataclass

import bpy
import numpy as np

from .ladder import make_ladder
from .shaping import (
    Array,
    Sheet,
    add_ball,
    add_rows,
    add_tube,
    material,
    mesh_object,
    ring_faces,
)
from .sill import add_sill

# The tower's axis, and the radius of the rail about it: at x = 0 the rail runs a forearm's length in front of Wren.
CENTRE = np.array([0.0, 1.9, 0.0])
RAIL_RADIUS_AROUND = 2.23
RAIL_HEIGHT = 1.0
RAIL_THICKNESS = 0.026
FLOOR_RADIUS = 2.36
WALL_RADIUS = 1.15
SILL_HEIGHT = 0.86
ROOF_HEIGHT = 2.55
# Where the lantern is hung up, as an angle along the rail, and how far inside the rail.
HOOK_ANGLE = -0.36
HOOK_INSIDE = 0.115
HOOK_RISE = 0.055

WHITE, RED, IRON, BRASS, GLASS, LENS, STONE, WOOD = range(8)


@dataclass(frozen=True)
class Lighthouse:
    """What was built; `set_pieces` are all meshes but the rail and the lantern, which hangs from its own origin."""

    set_pieces: tuple[bpy.types.Object, ...]
    rail: bpy.types.Object
    ladder: bpy.types.Object
    lantern: bpy.types.Object
    lights: tuple[bpy.types.Object, ...]


def _up(height: float) -> Array:
    return np.array([0.0, 0.0, height])


def rail_point(angle: float) -> Array:
    """Middle of the top rail, (3,); angle 0 is in front of Wren, positive towards +X."""
    return CENTRE + np.array([RAIL_RADIUS_AROUND * np.sin(angle), -RAIL_RADIUS_AROUND * np.cos(angle), RAIL_HEIGHT])


def outward(angle: float) -> Array:
    """Unit vector from the tower's axis over the rail, (3,)."""
    return np.array([np.sin(angle), -np.cos(angle), 0.0])


def hook_point() -> Array:
    """Where the lantern's bail rests when it is hung up, (3,)."""
    return rail_point(HOOK_ANGLE) - HOOK_INSIDE * outward(HOOK_ANGLE) + np.array([0.0, 0.0, HOOK_RISE])


def make_lighthouse() -> Lighthouse:
    """Everything but Wren, in the scene's active collection."""
    paints = [
        material("whitewash", (0.62, 0.61, 0.58), 0.75),
        material("roof red", (0.33, 0.035, 0.03), 0.45),
        material("iron", (0.035, 0.06, 0.075), 0.4, metallic=0.3),
        material("brass", (0.72, 0.45, 0.14), 0.25, metallic=1.0),
        _pane(),
        material("lens", (1.0, 0.78, 0.45), 0.3, glow=6.0),
        material("gallery stone", (0.30, 0.29, 0.28), 0.85),
        material("ladder wood", (0.25, 0.13, 0.06), 0.7),
    ]
    flat, round_, rail = Sheet(), Sheet(), Sheet()
    _add_floor(flat)
    _add_lamp_room(flat, round_)
    _add_rail(rail)
    add_sill(flat, WHITE, WHITE)
    ladder, brackets = make_ladder(CENTRE, paints[WOOD], paints[IRON])
    pieces = (
        mesh_object("lighthouse.flat", flat, paints, smooth=False),
        mesh_object("lighthouse.round", round_, paints),
        ladder,
        brackets,
        _make_sea(),
    )
    _make_sky()
    railing = mesh_object("lighthouse.rail", rail, paints)
    return Lighthouse(pieces, railing, ladder, _make_lantern(paints), _make_lights())


def _pane() -> bpy.types.Material:
    """Glass that mirrors the evening, with a little of the lamp's warmth behind it."""
    made = material("lamp room pane", (0.03, 0.045, 0.055), 0.08)
    shader = next(node for node in made.node_tree.nodes if node.type == "BSDF_PRINCIPLED")
    shader.inputs["Emission Color"].default_value = (1.0, 0.50, 0.18, 1.0)
    shader.inputs["Emission Strength"].default_value = 0.12
    return made


def _arc(radius: float, height: float, start: float, end: float, steps: int) -> Array:
    angles = np.linspace(start, end, steps)
    return CENTRE + np.stack([radius * np.sin(angles), -radius * np.cos(angles), np.full(steps, height)], axis=-1)


def _add_floor(sheet: Sheet) -> None:
    rows = (
        (-3.0, 1.45),
        (-0.60, 1.45),
        (-0.14, FLOOR_RADIUS - 0.10),
        (-0.10, FLOOR_RADIUS),
        (0.0, FLOOR_RADIUS),
        (0.0, 0.5),
    )
    around = 64
    angles = 2.0 * np.pi * np.arange(around) / around
    points = np.concatenate(
        [CENTRE + np.stack([r * np.cos(angles), r * np.sin(angles), np.full(around, z)], axis=-1) for z, r in rows]
    )
    faces = ring_faces(len(rows), around)
    sheet.add(points, faces[: 2 * around], WHITE, "")
    first = sheet.count - len(points)
    sheet.join([tuple(first + i for i in face) for face in faces[2 * around :]], STONE)


def _add_rail(sheet: Sheet) -> None:
    """Posts, top rail, two lower rails and the hook for the lantern."""
    reach = 1.9
    add_tube(sheet, _arc(RAIL_RADIUS_AROUND, RAIL_HEIGHT, -reach, reach, 97), RAIL_THICKNESS, IRON, "", around=14)
    for height in (0.36, 0.68):
        add_tube(sheet, _arc(RAIL_RADIUS_AROUND, height, -reach, reach, 97), 0.012, IRON, "", around=8)
    for step in range(-7, 8):
        angle = (step + 0.5) * 0.255
        foot = rail_point(angle) * np.array([1.0, 1.0, 0.0])
        add_tube(sheet, [foot, foot + _up(RAIL_HEIGHT)], 0.018, IRON, "", around=10, side=(1.0, 0.0, 0.0))
        add_ball(sheet, foot + _up(0.02), (0.045, 0.045, 0.022), IRON, "", around=12, levels=6)
    post, hook = rail_point(HOOK_ANGLE), hook_point()
    inward = -outward(HOOK_ANGLE)
    low = hook - [0.0, 0.0, 0.013]
    bend = [
        post,
        post + 0.5 * (low - post) - [0.0, 0.0, 0.020],
        low - 0.012 * inward - [0.0, 0.0, 0.004],
        low,
        low + 0.02 * inward + [0.0, 0.0, 0.006],
        low + 0.03 * inward + [0.0, 0.0, 0.03],
    ]
    add_tube(sheet, bend, 0.009, BRASS, "", around=8, side=np.cross(inward, [0.0, 0.0, 1.0]))


def _add_lamp_room(flat: Sheet, round_: Sheet) -> None:
    """An eight-sided lamp room: wall, sill, glazing bars, glowing panes, the lens behind them, the roof."""
    sides = 8
    corners = np.arange(sides) * 2.0 * np.pi / sides + np.pi / sides
    x, y = CENTRE[0], CENTRE[1]

    def ring(radius: float, height: float) -> Array:
        return np.stack([x + radius * np.cos(corners), y + radius * np.sin(corners), np.full(sides, height)], axis=-1)

    def band(rows: tuple[tuple[float, float], ...], paint: int) -> None:
        flat.add(np.concatenate([ring(r, z) for r, z in rows]), ring_faces(len(rows), sides, cap_end=True), paint, "")

    band(((WALL_RADIUS, 0.0), (WALL_RADIUS, SILL_HEIGHT - 0.09)), WHITE)
    band(((WALL_RADIUS + 0.015, 0.0), (WALL_RADIUS + 0.015, 0.14), (WALL_RADIUS, 0.16)), RED)
    band(
        (
            (WALL_RADIUS, SILL_HEIGHT - 0.09),
            (WALL_RADIUS + 0.08, SILL_HEIGHT - 0.09),
            (WALL_RADIUS + 0.08, SILL_HEIGHT),
        ),
        WHITE,
    )
    glass = WALL_RADIUS - 0.06
    band(((glass, SILL_HEIGHT), (glass, ROOF_HEIGHT)), GLASS)
    band(
        (
            (WALL_RADIUS, ROOF_HEIGHT - 0.10),
            (WALL_RADIUS, ROOF_HEIGHT),
            (WALL_RADIUS + 0.18, ROOF_HEIGHT),
            (WALL_RADIUS + 0.16, ROOF_HEIGHT + 0.06),
            (0.12, ROOF_HEIGHT + 0.75),
        ),
        RED,
    )
    for corner in corners:
        foot = np.array([x + (glass + 0.02) * np.cos(corner), y + (glass + 0.02) * np.sin(corner), SILL_HEIGHT])
        top = foot + _up(ROOF_HEIGHT - SILL_HEIGHT)
        add_tube(round_, [foot, top], 0.03, IRON, "", around=8, side=(1.0, 0.0, 0.0))
    for share in (0.36, 0.70):
        height = SILL_HEIGHT + share * (ROOF_HEIGHT - SILL_HEIGHT)
        line = ring(glass + 0.012, height)
        for start, end in zip(line, np.roll(line, -1, axis=0), strict=True):
            add_tube(round_, [start, end], 0.014, IRON, "", around=6)


def _make_lantern(paints: list[bpy.types.Material]) -> bpy.types.Object:
    """A hand lantern; its origin is the middle of the bail's grip, along its X axis, and it hangs down -Z."""
    sheet = Sheet()
    add_tube(sheet, [(-0.055, 0.0, 0.0), (0.055, 0.0, 0.0)], 0.009, WOOD, "", around=10)
    for side in (1.0, -1.0):
        bail = [
            (side * 0.052, 0.0, 0.0),
            (side * 0.068, 0.0, -0.045),
            (side * 0.070, 0.0, -0.10),
            (side * 0.060, 0.0, -0.145),
        ]
        add_tube(sheet, bail, 0.0045, IRON, "", around=8, side=(0.0, 1.0, 0.0))
    top = -0.115
    add_rows(
        sheet,
        tuple(
            (top + z, r, r, 0.0)
            for z, r in (
                (-0.045, 0.062),
                (-0.040, 0.068),
                (-0.030, 0.062),
                (-0.012, 0.036),
                (-0.004, 0.026),
                (0.008, 0.026),
                (0.014, 0.014),
            )
        ),
        20,
        BRASS,
        "",
    )
    add_rows(
        sheet,
        tuple((top + z, r, r, 0.0) for z, r in ((-0.150, 0.046), (-0.130, 0.050), (-0.075, 0.050), (-0.045, 0.044))),
        20,
        LENS,
        "",
    )
    add_rows(
        sheet,
        tuple(
            (top + z, r, r, 0.0)
            for z, r in ((-0.215, 0.060), (-0.210, 0.068), (-0.175, 0.068), (-0.160, 0.056), (-0.150, 0.050))
        ),
        20,
        BRASS,
        "",
    )
    for step in range(4):
        angle = step * 0.5 * np.pi + 0.25 * np.pi
        at = np.array([0.058 * np.cos(angle), 0.058 * np.sin(angle), 0.0])
        add_tube(
            sheet,
            [at + _up(top - 0.165), at + _up(top - 0.04)],
            0.004,
            IRON,
            "",
            around=6,
            side=(1.0, 0.0, 0.0),
        )
    made = mesh_object("lantern", sheet, paints)
    light = bpy.data.lights.new("lantern.light", "POINT")
    light.energy, light.color, light.shadow_soft_size = 9.0, (1.0, 0.62, 0.28), 0.05
    shine = bpy.data.objects.new("lantern.light", light)
    shine.location = (0.0, 0.0, top - 0.26)
    shine.parent = made
    bpy.context.collection.objects.link(shine)
    return made


def _make_sea() -> bpy.types.Object:
    sheet = Sheet()
    size, height = 900.0, -16.0
    sheet.add(
        np.array([[-size, -size, height], [size, -size, height], [size, size, height], [-size, size, height]]),
        [(0, 1, 2, 3)],
        0,
        "",
    )
    water = material("sea", (0.03, 0.10, 0.13), 0.22)
    tree = water.node_tree
    shader = next(node for node in tree.nodes if node.type == "BSDF_PRINCIPLED")
    noise, bump, where = (
        tree.nodes.new(kind) for kind in ("ShaderNodeTexNoise", "ShaderNodeBump", "ShaderNodeTexCoord")
    )
    noise.inputs["Scale"].default_value = 0.35
    noise.inputs["Detail"].default_value = 5.0
    bump.inputs["Strength"].default_value = 0.6
    bump.inputs["Distance"].default_value = 1.0
    tree.links.new(where.outputs["Object"], noise.inputs["Vector"])
    tree.links.new(noise.outputs[0], bump.inputs["Height"])
    tree.links.new(bump.outputs["Normal"], shader.inputs["Normal"])
    return mesh_object("sea", sheet, [water])


def _make_sky() -> None:
    """A clear evening: peach at the horizon, blue above."""
    world = bpy.data.worlds.new("evening")
    world.use_nodes = True
    tree = world.node_tree
    where, split, ramp = (
        tree.nodes.new(kind) for kind in ("ShaderNodeTexCoord", "ShaderNodeSeparateXYZ", "ShaderNodeValToRGB")
    )
    colours = ramp.color_ramp.elements
    colours[0].position, colours[0].color = 0.0, (1.0, 0.50, 0.26, 1.0)
    colours[1].position, colours[1].color = 0.75, (0.10, 0.20, 0.42, 1.0)
    middle = colours.new(0.10)
    middle.color = (0.85, 0.58, 0.50, 1.0)
    upper = colours.new(0.35)
    upper.color = (0.22, 0.42, 0.68, 1.0)
    background = next(node for node in tree.nodes if node.type == "BACKGROUND")
    background.inputs["Strength"].default_value = 0.85
    tree.links.new(where.outputs["Generated"], split.inputs[0])
    tree.links.new(split.outputs["Z"], ramp.inputs[0])
    tree.links.new(ramp.outputs["Color"], background.inputs["Color"])
    bpy.context.scene.world = world


def _make_lights() -> tuple[bpy.types.Object, ...]:
    sun = bpy.data.lights.new("sun", "SUN")
    sun.energy, sun.color, sun.angle = 3.6, (1.0, 0.78, 0.56), 0.03
    low = bpy.data.objects.new("sun", sun)
    # Low over the sea, in front of Wren's right shoulder.
    low.rotation_euler = (np.radians(62.0), 0.0, np.radians(-48.0))
    fill = bpy.data.lights.new("fill", "AREA")
    fill.energy, fill.color, fill.size = 55.0, (0.62, 0.76, 1.0), 3.0
    soft = bpy.data.objects.new("fill", fill)
    soft.location = (3.2, -2.6, 2.6)
    soft.rotation_euler = (np.radians(62.0), 0.0, np.radians(52.0))
    for item in (low, soft):
        bpy.context.collection.objects.link(item)
    return (low, soft)
