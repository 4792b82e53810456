"""Whatever becomes of a character's file, object and bones, its arms hold, and every operator finds the right one."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from keepers import activate
from props import subject_of
from shots import LAST, arm_length, both_arms, override_character, save_character, set_in_motion
from whole_file import Values, changes, whole_file

SEED = 5120
SLIDE, POP, POP_ANGLE = 2e-6, 1e-5, 1e-2
# The same pose read from another copy of the same bones, arm lengths: single precision.
ALIKE = 1e-6


@pytest.fixture
def registered(empty_file: Any) -> Iterator[None]:
    import armwright

    armwright.register()
    yield
    armwright.unregister()


def made(folder: Path) -> tuple[Path, np.ndarray]:
    """A file with Wren in motion, and where his arms are on every frame, (N, 6, 4, 4)."""
    from characters import wren_on_own_armature

    wren = wren_on_own_armature()
    set_in_motion(wren)
    path = folder / "keeper.blend"
    save_character(wren, path)
    return path, both_arms(wren)


def opened(path: Path) -> list[str]:
    import bpy

    bpy.ops.wm.open_mainfile(filepath=str(path))
    return ["Wren"]


def append(path: Path) -> str:
    """The name of the armature that comes with the file's collection."""
    import bpy

    with bpy.data.libraries.load(str(path), link=False) as (_, wanted):
        wanted.collections = ["Keeper"]
    bpy.context.scene.collection.children.link(wanted.collections[0])
    bpy.context.view_layer.update()
    return str(next(item.name for item in wanted.collections[0].objects if item.type == "ARMATURE"))


def empty() -> None:
    import bpy

    bpy.ops.wm.read_factory_settings(use_empty=True)


def appended(path: Path) -> list[str]:
    empty()
    return [append(path)]


def appended_twice(path: Path) -> list[str]:
    empty()
    return [append(path), append(path)]


def overridden(path: Path) -> list[str]:
    armature = override_character(path)
    return [armature.name]


def duplicated(path: Path) -> list[str]:
    import bpy

    opened(path)
    activate(bpy.data.objects["Wren"])
    assert bpy.ops.object.duplicate() == {"FINISHED"}
    return ["Wren", bpy.context.object.name]


def duplicated_with_the_same_bones(path: Path) -> list[str]:
    import bpy

    opened(path)
    activate(bpy.data.objects["Wren"])
    assert bpy.ops.object.duplicate(linked=True) == {"FINISHED"}
    return ["Wren", bpy.context.object.name]


def object_renamed(path: Path) -> list[str]:
    import bpy

    opened(path)
    bpy.data.objects["Wren"].name = "Keeper of the light"
    bpy.data.armatures["Wren"].name = "Bones"
    return ["Keeper of the light"]


def two_of_one_plan(path: Path) -> list[str]:
    from characters import wren_on_own_armature

    opened(path)
    other = wren_on_own_armature()
    set_in_motion(other)
    return ["Wren", other.name]


def saved_again_under_another_name(path: Path) -> list[str]:
    import bpy

    opened(path)
    other = path.with_name("night.blend")
    bpy.ops.wm.save_as_mainfile(filepath=str(other))
    return opened(other)


CIRCUMSTANCES: dict[str, Callable[[Path], list[str]]] = {
    "saved and opened": opened,
    "saved under another name": saved_again_under_another_name,
    "appended": appended,
    "appended twice": appended_twice,
    "linked and overridden": overridden,
    "duplicated": duplicated,
    "duplicated, bones shared": duplicated_with_the_same_bones,
    "object renamed": object_renamed,
    "two of one plan": two_of_one_plan,
}
# Where bones can not be changed, and what the sentence says.
NOT_BUILT = {"linked and overridden": "is linked from", "duplicated, bones shared": "shares its bones"}


@pytest.fixture(params=list(CIRCUMSTANCES))
def characters(registered: None, request: Any, tmp_path: Path) -> tuple[str, list[str], np.ndarray]:
    """Which circumstance, the names of the characters in the file, and the poses that each of them was made with."""
    import bpy

    path, poses = made(tmp_path)
    names = CIRCUMSTANCES[request.param](path)
    assert len(set(names)) == len(names)
    # The first look makes what the host makes when it is asked for; nothing has been played yet either.
    for frame in (LAST, 1):
        bpy.context.scene.frame_set(frame)
        whole_file()
    return request.param, names, poses


def of(name: str) -> Any:
    import bpy

    return bpy.data.objects[name]


def apart_from(name: str) -> dict[str, Any]:
    """Everything in the file that is another character's, bones' data that both use included."""
    item = of(name)
    own = {f"objects/{name}", f"armatures/{item.data.name_full}", "scenes/", "context", "collections/"}
    own |= {f"actions/{item.animation_data.action.name_full}"} if item.animation_data.action else set()
    return {
        place: single(value)
        for place, value in whole_file().items()
        if place.startswith(("objects/", "armatures/", "actions/"))
        and "/armwright.shape." not in place
        and not any(place == start or place.startswith(f"{start}/") for start in own)
    }


def single(value: Any) -> Any:
    """Dials and what drivers have written in the precision that they are played in, whether played yet or not."""
    if not isinstance(value, Values):
        return value

    def rounded(words: str) -> str:
        try:
            return repr(float(np.float32(words)))
        except ValueError:
            return words

    return value._replace(custom=tuple((key, rounded(words)) for key, words in value.custom))


def others_untouched(name: str, work: Callable[[], Any]) -> Any:
    before = apart_from(name)
    done = work()
    now = apart_from(name)
    # Something may be added, nothing may be changed or taken.
    assert changes(before, {place: now[place] for place in before if place in now}) == []
    return done


def slides(armature: Any, arm: str, rng: np.random.Generator) -> tuple[float, float]:
    """How far a planted hand and elbow slide while the torso and the root's own bones move, arm lengths."""
    import bpy

    names = subject_of(armature).record
    dials = armature.pose.bones[names.bone(arm, "dials")]
    dials["ik"], dials["elbow_hold"] = 1.0, 1.0
    places = []
    for _ in range(12):
        for bone in ("torso.1", names.torso):
            armature.pose.bones[bone].rotation_mode = "XYZ"
            armature.pose.bones[bone].rotation_euler = rng.uniform(-0.15, 0.15, 3).tolist()
        armature.update_tag()
        bpy.context.view_layer.update()
        places.append([np.array(armature.pose.bones[names.bone(arm, role)].head) for role in ("hand", "forearm")])
    off = np.linalg.norm(np.array(places) - np.array(places)[:1], axis=2).max(axis=0) / arm_length(armature)
    return float(off[0]), float(off[1])


def test_each_points_to_itself(characters: Any) -> None:
    _, names, _ = characters
    armatures = {of(name) for name in names}
    for name in names:
        item, count = of(name), 0
        for curve in item.animation_data.drivers:
            for variable in curve.driver.variables:
                for target in variable.targets:
                    assert target.id == item, (name, curve.data_path)
                    count += 1
        for bone in item.pose.bones:
            for entry in bone.constraints:
                for holder in getattr(entry, "targets", (entry,)):
                    assert holder.target is None or holder.target == item, (name, bone.name, entry.name)
                    count += 1
        assert count > 100
    assert len({subject_of(item).record.arms for item in armatures}) == 1


def test_each_evaluates_as_it_did(characters: Any) -> None:
    circumstance, names, poses = characters
    for name in names:
        off = np.abs(both_arms(of(name)) - poses)
        length = arm_length(of(name))
        print(f"{circumstance}, {name}: {off[..., :3, 3].max() / length:.1e} L, axes {off[..., :3, :3].max():.1e}")
        assert off[..., :3, 3].max() / length < ALIKE
        assert off[..., :3, :3].max() < ALIKE


def test_what_each_plants_stays_under_torso_motion(characters: Any) -> None:
    circumstance, names, _ = characters
    rng = np.random.default_rng(SEED)
    for name in names:
        item = of(name)
        if item.animation_data.action is not None:
            item.animation_data.action = None
        for arm in "LR":
            hand, elbow = others_untouched(name, lambda item=item, arm=arm: slides(item, arm, rng))
            print(f"seed {SEED}, {circumstance}, {name} {arm}: hand {hand:.1e} L, elbow {elbow:.1e} L")
            assert hand <= SLIDE and elbow <= SLIDE


def test_operators_change_the_chosen_one_alone_without_a_pop(characters: Any) -> None:
    import bpy
    from props import lantern

    _, names, _ = characters
    prop = lantern()
    for name in names:
        animation = of(name).animation_data
        if animation.action.library is not None or animation.action.users > 1:
            # What the operators ask for where a linked file or another character has the action.
            activate(of(name), "POSE")
            with pytest.raises(RuntimeError, match=r"make it (local|single-user) first"):
                bpy.ops.armwright.hold(arm="L", mode="both")
            bpy.ops.object.mode_set(mode="OBJECT")
            animation.action = animation.action.copy()
    bpy.context.scene.frame_set(1)
    bpy.context.scene.tool_settings.use_keyframe_insert_auto = True
    for turn, name in enumerate(names):
        activate(of(name), "POSE")
        bpy.context.scene.frame_set(10 + 2 * turn)
        for operator, options in (
            ("hold", {"arm": "L", "mode": "both"}),
            ("hold", {"arm": "R", "mode": "elbow"}),
            ("flip_dial", {"arm": "BOTH", "dial": "isolate"}),
            ("grab", {"arm": "R", "parts": "hand", "into": "SELECTION"}),
            ("set_space", {"arm": "L", "hold": "hand", "space": "torso"}),
            ("convert_range", {"arm": "L", "mode": "none", "first": 20, "last": 25}),
            ("release", {"arm": "R"}),
        ):
            if operator == "grab":
                prop.select_set(True)
            before = joints(name)
            done = others_untouched(
                name, lambda call=operator, chosen=options: getattr(bpy.ops.armwright, call)(**chosen)
            )
            assert done == {"FINISHED"}, (name, operator)
            off, angle = gap(before, joints(name), of(name))
            assert off <= POP and angle <= POP_ANGLE, (name, operator, off, angle)
        bpy.ops.object.mode_set(mode="OBJECT")


def joints(name: str) -> np.ndarray:
    import bpy

    bpy.context.view_layer.update()
    bones = of(name).pose.bones
    roles = subject_of(of(name)).record
    return np.array([bones[roles.bone(arm, role)].matrix for arm in "LR" for role in ("upper_arm", "forearm", "hand")])


def gap(before: np.ndarray, now: np.ndarray, armature: Any) -> tuple[float, float]:
    from armwright.core.posing import rigid_turns
    from armwright.core.rotations import angle_between

    off = float(np.linalg.norm(now[:, :3, 3] - before[:, :3, 3], axis=1).max()) / arm_length(armature)
    turns = [rigid_turns(poses[:, :3, :3]) for poses in (before, now)]
    return off, float(np.degrees(angle_between(*turns).max()))


def test_build_again_changes_the_chosen_one_alone_or_says_why_not(characters: Any) -> None:
    import bpy

    circumstance, names, _ = characters
    for name in names:
        settings = bpy.context.scene.armwright_build
        activate(of(name))
        settings.armature = of(name)
        assert settings.source == "rig"
        if circumstance in NOT_BUILT:
            settings.source, settings.stature = "stature", 1.8
            with pytest.raises(RuntimeError, match=NOT_BUILT[circumstance]):
                bpy.ops.armwright.build_arms()
            continue
        before = whole_file()
        assert bpy.ops.armwright.build_arms() == {"FINISHED"}
        assert changes(before, whole_file()) == []
        settings.source, settings.stature = "stature", 1.8
        assert others_untouched(name, bpy.ops.armwright.build_arms) == {"FINISHED"}
        assert of(name).data.bones["skin.clavicle.L"].tail_local.z == pytest.approx(0.818 * 1.8, abs=1e-5)


def test_each_passes_a_proof_and_is_left_as_it_was(characters: Any) -> None:
    circumstance, names, _ = characters
    for name in names:
        before = whole_file()
        found = proved(of(name))
        assert changes(before, whole_file()) == []
        assert {check.verdict for check in found} == {"pass"}, [c.id for c in found if c.verdict != "pass"]
        print(f"{circumstance}, {name}: {len(found)} checks")
        assert len(found) >= 8


def proved(armature: Any, mode: str = "both") -> list[Any]:
    """The checks of one mode under the wiggle, every dial off and every dial on."""
    from armwright.addon import prove_runs, sample
    from armwright.core.proof import verdicts
    from armwright.core.proof.run_plan import HELD, planned_runs, standard_motions

    subject, found = subject_of(armature), []
    with sample.borrowed(armature) as stage:
        for spec in planned_runs(standard_motions(1)):
            case = spec.case
            if spec.motion != "torso-wiggle" or case.mode != mode or not case.isolate == case.lift == case.stretch:
                continue
            for arm_run in prove_runs.run(subject, spec, stage):
                found += [check for check in verdicts.checks(spec, arm_run)[0] if check.requirement in HELD]
    return found


def test_remove_takes_the_arms_of_the_chosen_one_alone_or_says_why_not(characters: Any) -> None:
    import bpy

    circumstance, names, _ = characters
    name = names[-1]
    activate(of(name))
    if circumstance in NOT_BUILT:
        before = whole_file()
        with pytest.raises(RuntimeError, match=NOT_BUILT[circumstance] + "|Library|library"):
            bpy.ops.armwright.remove_arms(anyway=True)
        assert changes(before, whole_file()) == []
        return
    assert others_untouched(name, lambda: bpy.ops.armwright.remove_arms(anyway=True)) == {"FINISHED"}
    assert "armwright" not in of(name)
    assert "fk.hand.L" not in of(name).data.bones
    for other in names[:-1]:
        assert {check.verdict for check in proved(of(other))} == {"pass"}
