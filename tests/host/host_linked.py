"""A character linked into a shot and overridden: every switch works there, and what it did lives on in the shot."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from keepers import activate
from props import lantern, offsets, subject_of, swing
from shots import (
    JOINTS,
    arm_length,
    both_arms,
    character,
    in_plain_host,
    override_character,
    save_character,
    set_in_motion,
)

MODES = {"none": (0.0, 0.0), "hand": (1.0, 0.0), "elbow": (0.0, 1.0), "both": (1.0, 1.0)}
# Where the host's single precision puts the same pose twice, metres and axes.
SAME = 2e-6


@pytest.fixture
def library(wren: Any, tmp_path: Path) -> Path:
    """The character's file."""
    wren.pose.bones["fk.forearm.L"].rotation_euler = (1.0, 0.3, 0.0)
    path = tmp_path / "keeper.blend"
    save_character(wren, path)
    return path


@pytest.fixture
def shot(library: Path) -> Iterator[Any]:
    """An overridden character in motion, with the extension registered; the character's file keeps its bytes."""
    import armwright

    was = library.read_bytes()
    armature = override_character(library)
    set_in_motion(armature)
    armwright.register()
    yield armature
    armwright.unregister()
    assert library.read_bytes() == was


def reopened(folder: Path) -> Any:
    """The character after its shot was saved and opened again."""
    import bpy

    path = str(folder / "shot.blend")
    bpy.ops.wm.save_as_mainfile(filepath=path)
    bpy.ops.wm.open_mainfile(filepath=path)
    activate(character())
    return character()


def step(frame: int, work: Any) -> Any:
    """Do `work` at `frame` with the arms of the present character, its pose kept; what it says."""
    import bpy

    from armwright.addon.switch import POP_ANGLE, POP_LIMIT

    bpy.context.scene.frame_set(frame)
    outcome = work(subject_of(character()))
    assert outcome.pop < POP_LIMIT and outcome.pop_angle < POP_ANGLE, outcome
    return outcome


def lives_on(armature: Any, folder: Path) -> None:
    """The keys are the shot's, and the poses are the same once it was saved and opened again."""
    assert keyed_in_the_shot(armature)
    before = both_arms(armature)
    assert np.abs(both_arms(reopened(folder)) - before).max() < SAME


def keyed_in_the_shot(armature: Any) -> bool:
    action = armature.animation_data.action
    return action is not None and action.library is None and action.override_library is None


def test_every_mode_goes_over_into_every_other_on_an_override(shot: Any, tmp_path: Path) -> None:
    from armwright.addon.switch import switch
    from armwright.core.match.target import Target

    before = both_arms(shot)
    pairs = list(itertools.permutations(MODES, 2))
    for side in "LR":
        for number, (first, second) in enumerate(pairs):
            for mode in (first, second):
                ik, elbow = MODES[mode]
                # Backwards through the shot, so that each change is the first that its frames see.
                frame = LAST_SWITCH - 3 * number
                step(
                    frame, lambda subject, s=side, i=ik, e=elbow: switch(subject, s, Target(ik=i, elbow=e), keyed=True)
                )
    assert keyed_in_the_shot(shot)
    after = both_arms(shot, range(1, LAST_SWITCH - 3 * (len(pairs) - 1)))
    assert len(after) == 5
    lives_on(shot, tmp_path)
    assert np.abs(after - before[: len(after)]).max() < SAME


LAST_SWITCH = 39


@pytest.mark.parametrize("mode", list(MODES))
@pytest.mark.parametrize("dial", ["isolate", "lift", "stretch"])
def test_every_dial_flips_in_place_on_an_override(shot: Any, tmp_path: Path, dial: str, mode: str) -> None:
    from armwright.addon.switch import switch
    from armwright.core.match.target import Target

    ik, elbow = MODES[mode]
    step(5, lambda subject: switch(subject, "L", Target(ik=ik, elbow=elbow), keyed=True))
    now = shot.pose.bones["fk.clavicle.L"][dial]
    for frame, value in ((9, 1.0 - now), (15, now)):
        outcome = step(frame, lambda subject, v=value: switch(subject, "L", Target(**{dial: v}), keyed=True))
        assert shot.pose.bones["fk.clavicle.L"][dial] == value
        assert outcome.keyed
    lives_on(shot, tmp_path)


def held_in_everything(shot: Any, hold: str) -> Any:
    """A prop, another character's bone and every space of the rig carry the left arm's hold, one after the other."""
    from characters import torso_armature

    from armwright.addon import grab, spaces

    prop, other = lantern(), torso_armature("Mate")
    swing(prop)
    step(3, lambda subject: grab.grab(subject, "L", hold, None, keyed=True))
    frame = 4
    for key, target in (
        ("torso", None),
        ("Lantern", (prop, "")),
        ("head", None),
        ("Mate:chest", (other, "chest")),
        ("hand.R", None),
        ("Lantern", (prop, "")),
        ("world", None),
        ("Lantern", (prop, "")),
    ):

        def work(subject: Any, key: str = key, target: Any = target) -> Any:
            space = spaces.ensure_space(subject, "L", hold, *target) if target else None
            space = space or spaces.space_named(subject, "L", hold, key)
            return spaces.set_space(subject, "L", hold, space, keyed=True)

        assert step(frame, work).keyed
        assert spaces.active_space(subject_of(shot), "L", hold).key == key
        frame += 4
    return prop


@pytest.mark.parametrize("hold", ["hand", "elbow"])
def test_every_space_carries_a_hold_of_an_override_and_lives_on_in_the_shot(
    shot: Any, tmp_path: Path, hold: str
) -> None:
    import bpy

    held_in_everything(shot, hold)
    space = shot.pose.bones[f"aux.{hold}_space.L"]
    order = list(space.constraints.keys())
    assert order[:2] == ["torso", "head"] and set(order[2:]) >= {"Lantern", "Mate:chest", "hand.R"}
    inverse = np.array(space.constraints["Lantern"].inverse_matrix)
    before = both_arms(shot)
    assert keyed_in_the_shot(shot)
    for again in (lambda: reopened(tmp_path), reload_library, resync):
        again()
        over = character()
        space = over.pose.bones[f"aux.{hold}_space.L"]
        assert list(space.constraints.keys()) == order, again
        assert np.array_equal(np.array(space.constraints["Lantern"].inverse_matrix), inverse)
        assert np.abs(both_arms(over) - before).max() < SAME, again
    # A new process without the add-on, scripts off.
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "shot.blend"))
    plain = np.array(in_plain_host(PLAY, str(tmp_path / "shot.blend"), *JOINTS))
    far = np.abs(plain - before).max() / arm_length(character())
    print(f"{hold}: a new process without the add-on is off by {far:.1e} L")
    assert far < 1e-6


PLAY = """
armature = next(item for item in bpy.data.objects if item.type == "ARMATURE" and item.name.startswith("Wren")
                and not item.library)
answer = []
for frame in range(1, 41):
    bpy.context.scene.frame_set(frame)
    answer.append([[list(row) for row in armature.pose.bones[f"{joint}.{side}"].matrix]
                   for side in "LR" for joint in sys.argv[2:]])
"""


def reload_library() -> None:
    import bpy

    for item in bpy.data.libraries:
        item.reload()
    bpy.context.view_layer.update()


def resync() -> None:
    import bpy

    root = character().override_library.hierarchy_root
    assert root.override_library.resync(bpy.context.scene, view_layer=bpy.context.view_layer)
    bpy.context.view_layer.update()


def test_a_shot_takes_over_what_changed_in_the_character_s_file_and_keeps_its_own(
    library: Path, tmp_path: Path
) -> None:
    import bpy

    shot = override_character(library)
    set_in_motion(shot)
    held_in_everything(shot, "hand")
    before = both_arms(shot)
    path = str(tmp_path / "shot.blend")
    bpy.ops.wm.save_as_mainfile(filepath=path)
    # The character gets a hat, which forces the host to bring the override's hierarchy up to date.
    bpy.ops.wm.open_mainfile(filepath=str(library))
    hat = bpy.data.objects.new("Hat", None)
    hat.parent, hat.parent_type, hat.parent_bone = bpy.data.objects["Wren"], "BONE", "head"
    bpy.data.collections["Keeper"].objects.link(hat)
    bpy.ops.wm.save_as_mainfile(filepath=str(library))
    bpy.ops.wm.open_mainfile(filepath=path)
    over = character()
    assert any(item.name.startswith("Hat") and item.override_library for item in bpy.data.objects)
    assert np.abs(both_arms(over) - before).max() < SAME
    remembers_where_it_grabbed(over, "hand")


def remembers_where_it_grabbed(over: Any, hold: str) -> None:
    """The prop goes, and its hold stays where it was grabbed, at both of its grabs that were keyed."""
    import bpy

    from armwright.addon import mend

    grabs = (8, 24, 32)
    bone = over.pose.bones[f"hold.{hold}.L"]
    was = {}
    for frame in grabs:
        bpy.context.scene.frame_set(frame)
        was[frame] = np.array(bone.matrix)
    bpy.data.objects.remove(bpy.data.objects["Lantern"])
    bpy.context.view_layer.update()
    said = mend.mend_spaces(subject_of(over))
    assert len(said) == 1 and said[0].endswith("where it was grabbed"), said
    for frame in grabs:
        for later in (frame, frame + 3):
            bpy.context.scene.frame_set(later)
            assert np.abs(np.array(bone.matrix) - was[frame]).max() < 4e-6, (frame, later)


@pytest.mark.parametrize("hold", ["hand", "elbow"])
@pytest.mark.parametrize("again", ["at once", "reopened", "library reloaded", "override resynced"])
def test_a_hold_whose_prop_is_deleted_stays_where_it_was_grabbed(
    shot: Any, tmp_path: Path, hold: str, again: str
) -> None:
    held_in_everything(shot, hold)
    if again != "at once":
        reopened(tmp_path)
    if again == "library reloaded":
        reload_library()
    if again == "override resynced":
        resync()
    remembers_where_it_grabbed(character(), hold)


def test_a_prop_grabbed_without_keys_and_deleted_leaves_the_hold_in_place(library: Path, tmp_path: Path) -> None:
    import bpy

    from armwright.addon import grab, mend

    over = override_character(library)
    prop = lantern()
    bpy.context.view_layer.update()
    for way in ((0.0, 0.0, 0.0), (0.05, -0.02, 0.1)):
        # The second grab finds the prop's space somewhere else than where it was made.
        prop.location = (np.array([0.3, -0.3, 1.1]) + way).tolist()
        bpy.context.view_layer.update()
        assert grab.grab(subject_of(over), "L", "hand", grab.Thing(prop), keyed=False).kept
        assert grab.grab(subject_of(over), "R", "hand", None, keyed=False).kept
        if not any(way):
            assert grab.grab(subject_of(over), "L", "hand", None, keyed=False).kept
    was = np.array(over.pose.bones["hold.hand.L"].matrix)
    prop.location = (0.5, -0.3, 1.3)
    over = reopened(tmp_path)
    bpy.data.objects.remove(bpy.data.objects["Lantern"])
    said = mend.mend_spaces(subject_of(over))
    assert len(said) == 1 and said[0].endswith("where it was grabbed"), said
    assert np.abs(np.array(over.pose.bones["hold.hand.L"].matrix) - was).max() < 4e-6


def test_a_space_that_is_taken_off_leaves_nothing_behind_on_an_override(shot: Any, tmp_path: Path) -> None:
    from armwright.addon import grab, mend, spaces

    prop = lantern()
    names = list(shot.pose.bones["aux.hand_space.L"].constraints.keys())
    grab.grab(subject_of(shot), "L", "hand", grab.Thing(prop), keyed=False)
    subject = subject_of(shot)
    spaces.set_space(subject, "L", "hand", spaces.space_named(subject, "L", "hand", "world"), keyed=False)
    mend.take_off(subject, "L", "hand", next(s for s in spaces.spaces_of(subject, "L", "hand") if s.key == "Lantern"))
    for again in (character, lambda: reopened(tmp_path)):
        over = again()
        assert list(over.pose.bones["aux.hand_space.L"].constraints.keys()) == names
        assert [space.key for space in spaces.spaces_of(subject_of(over), "L", "hand")] == [
            "world",
            "torso",
            "head",
            "hand.R",
        ]


@pytest.mark.parametrize("parts", ["hand", "elbow", "both"])
def test_a_range_is_held_on_an_override_and_lives_on_in_the_shot(shot: Any, tmp_path: Path, parts: str) -> None:
    from armwright.addon import grab

    prop = lantern()
    swing(prop)
    outcome = grab.hold_range(subject_of(shot), "L", parts, grab.Thing(prop), 10, 30)
    assert outcome.kept and keyed_in_the_shot(shot)
    before = both_arms(shot)
    over = reopened(tmp_path)
    assert np.abs(both_arms(over) - before).max() < SAME
    import bpy

    for hold in grab.PARTS[parts]:
        bone = {"hand": "skin.hand.L", "elbow": "skin.forearm.L"}[hold]
        places = offsets(over, bpy.data.objects["Lantern"], range(10, 31), bone)[:, :3, 3]
        drift = np.abs(places - places[0]).max() / arm_length(over)
        print(f"{parts}: the {hold} drifts {drift:.1e} L against the prop")
        assert drift < 2e-6


@pytest.mark.parametrize("mode", ["hand", "both"])
def test_a_range_is_converted_on_an_override_and_lives_on_in_the_shot(shot: Any, tmp_path: Path, mode: str) -> None:
    from swings import apart

    from armwright.addon import convert
    from armwright.addon.switch import POP_ANGLE, POP_LIMIT

    before = both_arms(shot)
    done = convert.convert_whole(subject_of(shot), convert.Request(("L", "R"), mode, 8, 25))
    assert done.keys and keyed_in_the_shot(shot)
    over = reopened(tmp_path)
    gap, angle = apart(before, both_arms(over))
    print(f"{mode}: {gap / arm_length(over):.1e} L, {angle:.1e} degrees away after reopening")
    assert gap / arm_length(over) < POP_LIMIT and angle < POP_ANGLE
    assert over.pose.bones["fk.clavicle.L"]["ik"] in (0.0, 1.0)
