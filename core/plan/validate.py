"""What a plan must fulfil before the host sees it. A plan may come from a stranger: nothing in it is taken on trust."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass
from typing import NoReturn

import numpy as np

from ..codec import check_version, encode
from ..errors import PlanError
from . import expressions
from .cycles import check_cycles
from .model import FORMAT, VERSION, Bone, Constraint, Driver, Plan, Property, Rest, Scalar, Variable

# Limits on size: far above any character, low enough that a hostile plan can not exhaust the host.
MOST_BONES = 20_000
MOST_ITEMS = 100_000
MOST_VARIABLES = 64
MOST_HELP = 1_024
MOST_TEXT = 4 * 1024 * 1024

# The host keeps a name in 64 bytes, the last of which is 0.
MOST_NAME_BYTES = 63
SHORTEST_BONE = 1e-6
LARGEST_NUMBER = 1e9
REST_TOLERANCE = 1e-6
# An existing bone's matrix comes out of the host in single precision, after products of its parents'.
EXTERNAL_REST_TOLERANCE = 1e-4

UNITS = ("", "angle")
ROTATION_ORDERS = ("QUATERNION", "XYZ", "XZY", "YXZ", "YZX", "ZXY", "ZYX")
HUES = ("body", "held", "shoulder")
# Components of the channels that a driver may write, and that a variable may read.
DRIVEN_CHANNELS: Mapping[str, int] = {"location": 3, "rotation_euler": 3, "scale": 3}
READ_CHANNELS: Mapping[str, int] = {**DRIVEN_CHANNELS, "rotation_quaternion": 4}
CONSTRAINT_VALUES = ("influence", "bulge")

_AXES = ("X", "Y", "Z")
_SIGNED_AXES = (*_AXES, "-X", "-Y", "-Z")


@dataclass(frozen=True)
class Setting:
    """A setting of a constraint: one of `choices`, or without these a number from `low` to `high`."""

    choices: tuple[str, ...] = ()
    low: float = 0.0
    high: float = LARGEST_NUMBER
    needed: bool = False


# Every kind of constraint, and the settings that it may have or (`needed`) must have.
CONSTRAINT_SETTINGS: Mapping[str, Mapping[str, Setting]] = {
    "armature": {},
    "copy_scale": {},
    "copy_transforms": {},
    "copy_rotation": {},
    "copy_location": {"head_tail": Setting(high=1.0)},
    "damped_track": {"axis": Setting(_SIGNED_AXES, needed=True), "head_tail": Setting(high=1.0)},
    "locked_track": {"axis": Setting(_SIGNED_AXES, needed=True), "lock": Setting(_AXES, needed=True)},
    "stretch_to": {
        # At 0 the host would take the length of the moment, and the rig would depend on when it was built.
        "rest_length": Setting(low=SHORTEST_BONE, needed=True),
        "volume": Setting(("XZ", "NONE")),
        "bulge": Setting(high=100.0),
        "keep_axis": Setting(("PLANE_X", "PLANE_Z", "SWING_Y")),
    },
    "share_roll": {"share": Setting(high=1.0, needed=True)},
}


def validate(plan: Plan) -> None:
    """Refuse, with a PlanError that names the bone, driver or property, a plan that can not be built safely."""
    check_version(plan.format, plan.version, FORMAT, VERSION, "plan", PlanError)
    _check_sizes(plan)
    encode(plan, PlanError)  # types and finiteness of every value
    _check_texts(plan)
    known = _check_bones(plan)
    properties = _check_properties(plan)
    constraints = _check_constraints(plan, known)
    _check_drivers(plan, known, properties, constraints)
    _check_roles(plan, known)
    check_cycles(plan)


def check_name(name: str, what: str) -> None:
    """Refuse, with PlanError, a name that the host could not keep as it is."""
    try:
        size = len(name.encode("utf-8"))
    except UnicodeEncodeError:
        _fail(f"{what} {_short(name)} holds half of a character: rename it")
    if not name:
        _fail(f"{what} is empty: give it a name")
    if size > MOST_NAME_BYTES:
        _fail(f"{what} {_short(name)} is too long: {size} bytes, the host keeps {MOST_NAME_BYTES}; shorten it")
    if not name.isprintable():
        _fail(f"{what} {_short(name)} holds a control character: rename it")


def _check_sizes(plan: Plan) -> None:
    limits = {"bones": MOST_BONES, "external": MOST_BONES}
    for field in ("bones", "external", "constraints", "drivers", "properties", "roles"):
        items, most = getattr(plan, field), limits.get(field, MOST_ITEMS)
        if isinstance(items, tuple) and (count := len(items)) > most:
            _fail(f"the plan has too many {field}: {count}, the most is {most}; build fewer arms at a time")


def _check_texts(plan: Plan) -> None:
    for field in ("guide", "options"):
        size = len(getattr(plan, field))
        if size > MOST_TEXT:
            _fail(f"the plan's {field} text is too long: {size} characters, the most is {MOST_TEXT}")


def _check_bones(plan: Plan) -> dict[str, Bone | None]:
    """All bones by name; None for external ones."""
    check_name(plan.name, "the plan's name")
    known: dict[str, Bone | None] = {}
    for external in plan.external:
        check_name(external.name, "the external bone")
        _check_new(external.name, known)
        _check_rest(external.name, external.rest, external.length, EXTERNAL_REST_TOLERANCE)
        known[external.name] = None
    later = {bone.name for bone in plan.bones}
    for bone in plan.bones:
        check_name(bone.name, "the bone")
        _check_new(bone.name, known)
        if bone.parent and bone.parent not in known:
            reason = "comes after it: put parents first" if bone.parent in later else "does not exist"
            _fail(f'the parent "{_cut(bone.parent)}" of bone "{bone.name}" {reason}')
        _check_rest(bone.name, bone.rest, bone.length, REST_TOLERANCE)
        check_name(bone.collection, f'the collection of bone "{bone.name}"')
        if bone.rotation_order not in ROTATION_ORDERS:
            _fail_choice(f'the rotation order of bone "{bone.name}"', bone.rotation_order, ROTATION_ORDERS)
        known[bone.name] = bone
    for bone in plan.bones:
        _check_display(bone, known)
    for field in ("torso", "root"):
        name = getattr(plan, field)
        if name and name not in known:
            _fail(f'the plan\'s {field} bone "{_cut(name)}" does not exist')
    return known


def _check_display(bone: Bone, known: Collection[str]) -> None:
    display = bone.display
    if display.shape:
        check_name(display.shape, f'the shape of bone "{bone.name}"')
    if display.hue not in HUES:
        _fail_choice(f'the hue of bone "{bone.name}"', display.hue, HUES)
    if display.at and display.at not in known:
        _fail(f'bone "{bone.name}" is drawn at the bone "{_cut(display.at)}", which does not exist')
    if max(abs(value) for value in (*display.size, *display.offset)) > LARGEST_NUMBER:
        _fail(f'the shape of bone "{bone.name}" is too large: more than {LARGEST_NUMBER:g} m')


def _check_new(name: str, known: Collection[str]) -> None:
    if name in known:
        _fail(f'the bone "{name}" is there twice: rename one')


def _check_rest(name: str, rest: Rest, length: float, tolerance: float) -> None:
    """Refuse a rest matrix that is not a rigid placement, or a bone without length."""
    if not SHORTEST_BONE < length <= LARGEST_NUMBER:
        _fail(f'the length of bone "{name}" is {length:g} m: it has to be more than {SHORTEST_BONE:g}')
    matrix = np.array(rest)
    if tuple(rest[3]) != (0.0, 0.0, 0.0, 1.0):
        _fail(f'the rest matrix of bone "{name}" has the last row {rest[3]}: it has to be 0 0 0 1')
    if float(np.abs(matrix).max()) > LARGEST_NUMBER:
        _fail(f'the rest matrix of bone "{name}" is too large: more than {LARGEST_NUMBER:g} m from the origin')
    axes = matrix[:3, :3]
    skew = float(np.abs(axes.T @ axes - np.eye(3)).max())
    if skew > tolerance:
        _fail(f'the axes of bone "{name}" are not units at right angles (off by {skew:.1e}, the most is {tolerance:g})')
    if np.linalg.det(axes) < 0.0:
        _fail(f'the axes of bone "{name}" are left-handed: turn one of them around')


def _check_properties(plan: Plan) -> set[tuple[str, str]]:
    """All properties, as (bone, name)."""
    owners = {bone.name for bone in plan.bones}
    found: set[tuple[str, str]] = set()
    for item in plan.properties:
        what = f'the property "{_cut(item.name)}" of bone "{_cut(item.bone)}"'
        check_name(item.name, f'a property of bone "{_cut(item.bone)}":')
        if any(character in item.name for character in '"\\[]'):
            _fail(f"{what} has a quote, bracket or backslash in its name, which paths can not hold: rename it")
        if item.bone not in owners:
            _fail(f"{what}: this bone is not in the plan")
        if (item.bone, item.name) in found:
            _fail(f"{what} is there twice: rename one")
        if item.unit not in UNITS:
            _fail_choice(f"the unit of {what}", item.unit, UNITS)
        _check_range(item, what)
        if len(item.help) > MOST_HELP or not _is_text(item.help):
            _fail(f"{what}: its help is not one line of at most {MOST_HELP} characters")
        found.add((item.bone, item.name))
    return found


def _check_range(item: Property, what: str) -> None:
    if not item.low < item.high:
        _fail(f"{what} has the range {item.low:g} to {item.high:g}: put the lower limit first")
    if max(abs(item.low), abs(item.high)) > LARGEST_NUMBER:
        _fail(f"{what} has too large a range: the most is {LARGEST_NUMBER:g}")
    if not item.low <= item.default <= item.high:
        _fail(f"{what} has the default {item.default:g}, outside its range {item.low:g} to {item.high:g}")


def _check_constraints(plan: Plan, known: Mapping[str, Bone | None]) -> dict[tuple[str, str], Constraint]:
    """All constraints, by (bone, name)."""
    found: dict[tuple[str, str], Constraint] = {}
    for item in plan.constraints:
        what = f'the constraint "{_cut(item.name)}" of bone "{_cut(item.bone)}"'
        check_name(item.name, f'a constraint of bone "{_cut(item.bone)}":')
        if known.get(item.bone) is None:
            _fail(f"{what}: this bone is not in the plan")
        if (item.bone, item.name) in found:
            _fail(f"{what} is there twice: rename one")
        if item.kind not in CONSTRAINT_SETTINGS:
            _fail_choice(f"{what}: its kind", item.kind, CONSTRAINT_SETTINGS)
        if item.target not in known:
            _fail(f'{what} has the target "{_cut(item.target)}", which does not exist')
        if item.target == item.bone:
            _fail(f"{what} has its own bone as target: choose another")
        _check_space(item, what, known)
        if not 0.0 <= item.influence <= 1.0:
            _fail(f"{what} has the influence {item.influence:g}: it has to be from 0 to 1")
        _check_settings(item, what)
        found[item.bone, item.name] = item
    return found


def _check_space(item: Constraint, what: str, known: Collection[str]) -> None:
    if item.kind == "share_roll":
        if item.space not in known or item.space in (item.bone, item.target):
            _fail(f'{what} sees its target from "{_cut(item.space)}": name a third bone that exists')
    elif item.space:
        _fail(f'{what} sees its target from "{_cut(item.space)}", which its kind can not: leave it empty')


def _check_settings(item: Constraint, what: str) -> None:
    allowed = CONSTRAINT_SETTINGS[item.kind]
    names = [name for name, _ in item.settings]
    if names != sorted(set(names)):
        _fail(f"{what}: its settings are not sorted by name, each once")
    for name, value in item.settings:
        if name not in allowed:
            _fail_choice(f"{what}: the setting", name, allowed)
        _check_setting(f"{what}: the setting {name}", allowed[name], value)
    for name, setting in allowed.items():
        if setting.needed and name not in names:
            _fail(f'{what}: the setting "{name}" is missing')
    values = dict(item.settings)
    if item.kind == "locked_track" and str(values["axis"])[-1] == values["lock"]:
        _fail(f"{what} locks the axis that it is to turn ({values['lock']}): lock another")


def _check_setting(what: str, setting: Setting, value: Scalar) -> None:
    if setting.choices:
        if value not in setting.choices:
            _fail_choice(what, value, setting.choices)
    elif isinstance(value, bool | str) or not setting.low <= value <= setting.high:
        _fail(f"{what} is {_short(value)}: it has to be a number from {setting.low:g} to {setting.high:g}")


def _check_drivers(
    plan: Plan,
    known: Mapping[str, Bone | None],
    properties: Collection[tuple[str, str]],
    constraints: Mapping[tuple[str, str], Constraint],
) -> None:
    driven: set[tuple[str, str, str | int]] = set()
    for driver in plan.drivers:
        what = f'the driver of {_cut(driver.channel)} of bone "{_cut(driver.bone)}"'
        owner = known.get(driver.bone)
        if owner is None:
            _fail(f"{what}: this bone is not in the plan")
        key = _driven_key(driver, owner, properties, constraints, what)
        if (driver.bone, driver.channel, key) in driven:
            _fail(f"{what} ({key}): this value is driven twice; remove one driver")
        driven.add((driver.bone, driver.channel, key))
        _check_expression(driver, what, lambda variable, what: _check_variable(variable, what, known, properties))


def _driven_key(
    driver: Driver,
    owner: Bone,
    properties: Collection[tuple[str, str]],
    constraints: Mapping[tuple[str, str], Constraint],
    what: str,
) -> str | int:
    """What tells the driven value from others of the same bone and channel."""
    if driver.channel == "property":
        if (driver.bone, driver.key) not in properties:
            _fail(f'{what}: there is no property "{_cut(driver.key)}" on this bone')
        return driver.key
    if driver.channel in CONSTRAINT_VALUES:
        constraint = constraints.get((driver.bone, driver.constraint))
        if constraint is None:
            _fail(f'{what}: there is no constraint "{_cut(driver.constraint)}" on this bone')
        if driver.channel == "bulge" and constraint.kind != "stretch_to":
            _fail(f'{what}: the constraint "{driver.constraint}" does not stretch and has no bulge')
        return driver.constraint
    if driver.constraint or driver.key:
        _fail(f"{what}: a bone's channel has neither a constraint nor a key; leave them empty")
    _check_channel(what, driver.channel, driver.index, owner, DRIVEN_CHANNELS)
    return driver.index


def _check_channel(what: str, channel: str, index: int, owner: Bone | None, channels: Mapping[str, int]) -> None:
    if channel not in channels:
        _fail_choice(f"{what}: the channel", channel, (*channels, *CONSTRAINT_VALUES, "property"))
    if not 0 <= index < channels[channel]:
        _fail(f"{what}: {channel} has no component {index}; it has 0 to {channels[channel] - 1}")
    if owner is not None and channel.startswith("rotation_"):
        is_quaternion = owner.rotation_order == "QUATERNION"
        if is_quaternion != (channel == "rotation_quaternion"):
            _fail(f'{what}: bone "{owner.name}" rotates by {owner.rotation_order}, so its {channel} has no effect')


def _check_expression(driver: Driver, what: str, check_variable: Callable[[Variable, str], None]) -> None:
    names = [variable.name for variable in driver.variables]
    if len(names) > MOST_VARIABLES:
        _fail(f"{what} has {len(names)} variables: the most is {MOST_VARIABLES}")
    if len(set(names)) != len(names):
        _fail(f"{what} has two variables of the same name: rename one")
    try:
        expressions.check(driver.expression, names)
    except PlanError as problem:
        _fail(f"{what}: {problem}")
    for variable in driver.variables:
        check_variable(variable, f'{what}: the variable "{variable.name}"')


def _check_variable(
    variable: Variable, what: str, known: Mapping[str, Bone | None], properties: Collection[tuple[str, str]]
) -> None:
    kinds = ("property", "channel", "distance", "swing", "object_scale")
    if variable.kind not in kinds:
        _fail_choice(f"{what}: its kind", variable.kind, kinds)
    if variable.kind == "object_scale":
        return
    for bone in (variable.bone, variable.other) if variable.kind == "distance" else (variable.bone,):
        if bone not in known:
            _fail(f'{what} reads the bone "{_cut(bone)}", which does not exist')
    if variable.kind == "property" and (variable.bone, variable.channel) not in properties:
        _fail(f'{what} reads the property "{_cut(variable.channel)}" of bone "{variable.bone}", which does not exist')
    if variable.kind == "channel":
        _check_channel(what, variable.channel, variable.index, known[variable.bone], READ_CHANNELS)
    if variable.kind == "distance" and variable.bone == variable.other:
        _fail(f'{what} is the distance of bone "{variable.bone}" to itself: name another bone')


def _check_roles(plan: Plan, known: Collection[str]) -> None:
    found: set[tuple[str, str]] = set()
    for role in plan.roles:
        check_name(role.arm, "the arm of a role")
        check_name(role.role, f'a role of arm "{role.arm}"')
        if (role.arm, role.role) in found:
            _fail(f'the role "{role.role}" of arm "{role.arm}" is there twice: remove one')
        if role.bone not in known:
            _fail(f'the role "{role.role}" of arm "{role.arm}" names "{_cut(role.bone)}", a bone that does not exist')
        found.add((role.arm, role.role))


def _is_text(text: str) -> bool:
    """Whether a text is one printable line that can be stored."""
    return not text or text.isprintable()


def _cut(text: str) -> str:
    """A name for a message: a hostile plan must not flood it."""
    return text if len(text) <= 80 and text.isprintable() else _short(text)


def _short(value: Scalar) -> str:
    shown = repr(value)
    return shown if len(shown) <= 60 else f"{shown[:57]}..."


def _fail_choice(what: str, found: Scalar, choices: Iterable[str]) -> NoReturn:
    known = ", ".join(choices)
    _fail(f"{what} is {_short(found)}: " + (f"it has to be one of {known}" if known else "there is none here"))


def _fail(sentence: str) -> NoReturn:
    raise PlanError(sentence)
