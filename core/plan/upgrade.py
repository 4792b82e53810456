"""From a rig that an older plan version built to this one: which bones took over which, and what version 1 had made.

A record of version 2 or later carries the plan that it was built from (`made.py`). Version 1 kept none: what its
constraints, drivers and properties were is listed here, by part (a bone's name without the arm's id), from its plan.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence

from .model import VERSION, Display, Plan

# By the version that is left behind: a part and the one that takes over its weights, keys and whatever names it.
# Version 2 renamed none: the first skin bone of a segment kept the name that the only one had.
RENAMES: Mapping[int, Mapping[str, str]] = {1: {}}

CONSTRAINTS_1: Mapping[str, tuple[str, ...]] = {
    "aux.hand_space": ("torso", "head"),
    "aux.elbow_space": ("torso", "head"),
    "aux.inherit": ("level", "place"),
    "aux.reach": ("hand", "aim"),
    "aux.elevation": ("arm", "raised", "place", "elbow"),
    "ik.span": ("hand", "aim"),
    "ik.held": ("hold", "size"),
    "ik.forearm": ("hand", "exact"),
    "aux.upper_arm": ("ik", "size", "place", "hold", "exact"),
    "aux.elbow_socket": ("hold", "place"),
    "aux.forearm": ("ik", "size", "place"),
    "fk.hand": ("place",),
    "skin.hand": ("ik", "place"),
    "skin.upper_arm": ("joint",),
    "skin.forearm": ("joint",),
}
# The driven values as paths from the bone on, each with its component.
DRIVEN_1: Mapping[str, tuple[tuple[str, int], ...]] = {
    "aux.inherit": (('.constraints["level"].influence', 0),),
    "aux.raised": ((".rotation_euler", 0),),
    "aux.elevation": (('.constraints["raised"].influence', 0), ('.constraints["elbow"].influence', 0)),
    "skin.clavicle": ((".rotation_euler", 0),),
    "ik.span": (('["whole"]', 0), ('["slack"]', 0), ('["grow"]', 0), ('["held_length"]', 0)),
    "ik.upper_arm": ((".rotation_euler", 0), (".rotation_euler", 1)),
    "ik.held": (('.constraints["hold"].influence', 0),),
    "ik.forearm": ((".rotation_euler", 1), (".location", 1), ('["need"]', 0)),
    "aux.upper_arm": (
        ('.constraints["ik"].influence', 0),
        ('.constraints["hold"].influence', 0),
        ('.constraints["exact"].influence', 0),
    ),
    "aux.elbow_socket": (('.constraints["hold"].influence', 0),),
    "aux.elbow": ((".location", 1),),
    "aux.forearm": (('.constraints["ik"].influence', 0),),
    "aux.wrist": ((".location", 1),),
    "skin.hand": (('.constraints["ik"].influence', 0),),
    "skin.upper_arm": (('.constraints["joint"].bulge', 0),),
    "skin.forearm": (('.constraints["joint"].bulge', 0),),
}
PROPERTIES_1: Mapping[str, tuple[str, ...]] = {
    "fk.clavicle": (
        "ik",
        "elbow_hold",
        "isolate",
        "lift",
        "stretch",
        "soft",
        "volume",
        "upper_length",
        "forearm_length",
        "upper_roll",
    ),
    "ik.span": ("whole", "slack", "grow", "held_length"),
    "ik.forearm": ("need",),
}
# How the controls looked: shape, hue, size along X, Y and Z, offset along Y and Z, and the part that it is drawn at.
# A size is a share of the arm's length, or with "own" of the control's.
Share = tuple[float, str]
LOOKS_1: Mapping[str, tuple[str, str, tuple[Share, Share, Share], tuple[Share, Share], str]] = {
    "fk.clavicle": ("arch", "shoulder", ((0.2, ""),) * 3, ((0.9, "own"), (0.03, "")), "skin.clavicle"),
    "fk.upper_arm": ("ring", "body", ((0.15, ""),) * 3, ((0.45, "own"), (0.0, "")), "aux.upper_arm"),
    "fk.forearm": ("ring", "body", ((0.12, ""),) * 3, ((0.45, "own"), (0.0, "")), "aux.forearm"),
    "fk.hand": ("ring", "body", ((0.1, ""),) * 3, ((0.45, "own"), (0.0, "")), "skin.hand"),
    "hold.hand": ("slab", "held", ((0.13, ""), (1.0, "own"), (0.07, "")), ((0.5, "own"), (0.0, "")), ""),
    "hold.elbow": ("cube", "held", ((0.11, ""),) * 3, ((0.0, ""), (0.0, "")), ""),
    "aim.elbow": ("star", "body", ((0.07, ""),) * 3, ((0.0, ""), (0.0, "")), ""),
}


def look_of_version_1(part: str, arm: str, own: float, length: float) -> Display | None:
    """How version 1 drew a control of `own` length on an arm of `length`, metres; None for a part without a shape."""
    if part not in LOOKS_1:
        return None
    shape, hue, size, offset, at = LOOKS_1[part]
    x, y, z = (share * (own if of else length) for share, of in size)
    along, over = (share * (own if of else length) for share, of in offset)
    return Display(shape, hue, (x, y, z), (0.0, along, over), f"{at}.{arm}" if at else "")


def successors(version: int, bones: Sequence[str], arms: Collection[str], plan: Plan) -> dict[str, str]:
    """Bones of a rig that plan `version` built, and the bone of `plan` that takes each over under another name.

    A successor that `plan` does not have, and a bone that it still has, are left out.
    """
    wanted = {bone.name for bone in plan.bones}
    found = {bone: _successor(version, bone, arms) for bone in bones}
    return {
        old: new
        for old, new in found.items()
        if new != old and new in wanted and old not in wanted and new not in found
    }


def _successor(version: int, bone: str, arms: Collection[str]) -> str:
    for left_behind in range(version, VERSION):
        table = RENAMES.get(left_behind, {})
        part, arm = split(bone, arms)
        if arm and part in table:
            bone = f"{table[part]}.{arm}"
    return bone


def split(bone: str, arms: Collection[str]) -> tuple[str, str]:
    """A bone's part and the arm that it belongs to; the whole name and "" for a bone of no arm.

    An arm's id may itself end like another's ("lower.L" like "L"): the longest that fits is meant.
    """
    fitting = [arm for arm in arms if bone.endswith(f".{arm}")]
    arm = max(fitting, key=len, default="")
    return (bone[: -len(arm) - 1], arm) if arm else (bone, "")


def version_1_items(bones: Sequence[str], arms: Collection[str]) -> Iterator[tuple[str, str, str, int]]:
    """What version 1 made on its bones: kind ("constraint", "driver", "property"), bone, name or path, component."""
    for bone in bones:
        part, arm = split(bone, arms)
        if not arm:
            continue
        for name in CONSTRAINTS_1.get(part, ()):
            yield "constraint", bone, name, 0
        for path, index in DRIVEN_1.get(part, ()):
            yield "driver", bone, path, index
        for name in PROPERTIES_1.get(part, ()):
            yield "property", bone, name, 0
