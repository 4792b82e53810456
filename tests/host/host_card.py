"""Rig cards in the host: armatures made in very different ways are drafted right, and the command says how sure."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import foreign_arms
import pytest

from armwright.core.card.model import JOINTS, RigCard

KINDS = ("bare_fk", "native_ik", "blended_chains", "elbow_child_of")
LIMIT_SECONDS = 300
# Tuned to nothing: a right guess about a plain armature should be more likely right than wrong.
SURE = 0.6


def drafted(armature: Any) -> RigCard:
    """The draft, which fits its armature."""
    from armwright.addon.card_sketch import sketch_of
    from armwright.core.card.check import problems_of
    from armwright.core.card.draft import draft
    from armwright.core.card.fit_check import misfits

    sketch = sketch_of(armature)
    card = draft(sketch)
    assert (problems_of(card), misfits(card, sketch)) == ((), ())
    return card


def wanted(kind: str, armature: Any, units: float = 1.0) -> RigCard:
    return getattr(foreign_arms, f"{kind}_card")(armature, units)


@pytest.mark.parametrize("kind", KINDS)
def test_the_draft_is_the_card_that_a_person_would_write(empty_file: Any, kind: str) -> None:
    armature = getattr(foreign_arms, kind)()
    card = drafted(armature)
    assert replace(card, guesses=()) == wanted(kind, armature)
    assert {guess.role for guess in card.guesses if guess.confidence < SURE} == set()
    named = {guess.role for guess in card.guesses if guess.arm == "L"}
    assert {*JOINTS, *(f"fk_{role}" for role in JOINTS), "mode none"} <= named


@pytest.mark.parametrize("kind", KINDS)
def test_with_names_that_say_nothing_the_draft_is_the_same(empty_file: Any, kind: str) -> None:
    armature = getattr(foreign_arms, kind)()
    card = drafted(armature)
    names = {bone.name: f"q{(number * 7919) % 10007}" for number, bone in enumerate(armature.data.bones)}
    for old, new in names.items():
        armature.data.bones[old].name = new
    # Renaming a bone in the host changes the paths of drivers as well.
    again = drafted(armature)
    assert replace(again, guesses=()) == _renamed(replace(card, guesses=()), names)
    least = min(guess.confidence for guess in again.guesses if guess.role in JOINTS)
    assert SURE < least < min(guess.confidence for guess in card.guesses if guess.role in JOINTS)


def _renamed(value: Any, names: dict[str, str]) -> Any:
    """A dataclass with each text that is a bone's name replaced."""
    from dataclasses import fields, is_dataclass

    if isinstance(value, str):
        return names.get(value, value)
    if isinstance(value, tuple):
        return tuple(_renamed(item, names) for item in value)
    if is_dataclass(value) and not isinstance(value, type):
        return type(value)(**{field.name: _renamed(getattr(value, field.name), names) for field in fields(value)})
    return value


@pytest.mark.parametrize("kind", KINDS)
def test_an_armature_in_centimetres_is_drafted_with_the_scene_s_unit(empty_file: Any, kind: str) -> None:
    import bpy

    bpy.context.scene.unit_settings.scale_length = 0.01
    armature = getattr(foreign_arms, kind)(units=100.0)
    card = drafted(armature)
    assert card.unit_m == pytest.approx(0.01, rel=1e-9)
    assert replace(card, guesses=(), unit_m=0.01) == wanted(kind, armature, 100.0)


def test_the_object_s_scale_counts(empty_file: Any) -> None:
    import bpy

    armature = foreign_arms.native_ik(units=10.0)
    armature.scale = (0.1, 0.1, 0.1)
    armature.rotation_euler = (0.3, 0.2, 1.0)
    bpy.context.view_layer.update()
    assert drafted(armature).unit_m == pytest.approx(0.1, rel=1e-6)


@pytest.mark.parametrize("kind", KINDS)
def test_a_mirrored_armature_has_its_sides_the_other_way_round(empty_file: Any, kind: str) -> None:
    from armwright.addon import host

    armature = getattr(foreign_arms, kind)()
    with host.mode(armature, "EDIT"):
        for bone in armature.data.edit_bones:
            bone.use_connect = False
        ends = {b.name: (tuple(b.head), tuple(b.tail)) for b in armature.data.edit_bones}
        for bone in armature.data.edit_bones:
            (hx, hy, hz), (tx, ty, tz) = ends[bone.name]
            bone.head, bone.tail = (-hx, -hy, hz), (-tx, -ty, tz)
    card = drafted(armature)
    assert card.front == (0.0, 1.0, 0.0)
    assert replace(card, guesses=(), front=(0.0, -1.0, 0.0)) == wanted(kind, armature)


@pytest.mark.parametrize("inline", [False, True], ids=["beside", "inline"])
@pytest.mark.parametrize("kind", ["bare_fk", "blended_chains"])
def test_twist_bones_are_no_joints(empty_file: Any, kind: str, inline: bool) -> None:
    from armwright.addon import host

    armature = getattr(foreign_arms, kind)()
    with host.mode(armature, "EDIT"):
        edit = armature.data.edit_bones
        for side in "LR":
            for part, below in (("humerus", "ulna"), ("ulna", "palm")):
                bone = edit[f"{part}.{side}"]
                twist = edit.new(f"roll_{part}.{side}")
                middle, end = (bone.head + bone.tail) / 2.0, bone.tail.copy()
                twist.head, twist.tail, twist.parent = middle, end, bone
                if inline:
                    edit[f"{below}.{side}"].parent = twist
                    bone.tail = middle
    card = drafted(armature)
    assert replace(card, guesses=()) == wanted(kind, armature)


def test_wren_s_own_arms_are_drafted_with_the_bones_of_her_skin(wren: Any) -> None:
    from armwright.addon import rig

    _has_wren_s_joints(drafted(wren), rig.read_record(wren))


def test_wren_s_arms_on_a_torso_are_drafted_with_all_their_roles(empty_file: Any) -> None:
    from characters import wren_on_torso

    from armwright.addon import rig

    armature = wren_on_torso()
    card = drafted(armature)
    record = rig.read_record(armature)
    _has_wren_s_joints(card, record)
    assert card.torso == ("hips", "belly", "chest")
    for arm in card.arms:
        assert (arm.hand_hold, arm.elbow_hold) == (
            record.bone(arm.arm, "hand_hold"),
            record.bone(arm.arm, "elbow_hold"),
        )
        assert arm.fk_upper_arm == record.bone(arm.arm, "fk_upper_arm")
        assert [mode.mode for mode in arm.modes] == ["none", "hand", "elbow", "both"]


def _has_wren_s_joints(card: RigCard, record: Any) -> None:
    skin = {"upper_arm": "skin_upper_arm", "forearm": "skin_forearm", "hand": "hand"}
    assert [arm.arm for arm in card.arms] == ["L", "R"]
    for arm in card.arms:
        for role, named in skin.items():
            assert getattr(arm, role) == record.bone(arm.arm, named), (arm.arm, role)


def test_forty_arms_of_wren_s_make_a_card_with_forty_arms(empty_file: Any) -> None:
    from characters import torso_armature
    from keepers import plan_for
    from many_arms import crowd_guide

    from armwright.addon import rig
    from armwright.addon.build import build

    armature = torso_armature("Crowd")
    build(armature, plan_for(armature, guide=crowd_guide(20)))
    card, record = drafted(armature), rig.read_record(armature)
    found = {(arm.upper_arm, arm.forearm, arm.hand) for arm in card.arms}
    assert len(card.arms) == 40
    assert found == {
        tuple(record.bone(arm, role) for role in ("skin_upper_arm", "skin_forearm", "hand")) for arm in record.arms
    }


def test_reading_an_armature_changes_nothing_and_gives_the_same_card_each_time(empty_file: Any) -> None:
    from deep_snapshot import deep_snapshot

    from armwright.core.card import card_json

    armature = foreign_arms.blended_chains()
    before = deep_snapshot()
    first = card_json.to_text(drafted(armature))
    assert deep_snapshot() == before
    assert card_json.to_text(drafted(armature)) == first


def run(*arguments: str | Path, seed: str = "0") -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "armwright", *map(str, arguments)],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=LIMIT_SECONDS,
        env={**os.environ, "PYTHONDONTWRITEBYTECODE": "1", "PYTHONHASHSEED": seed},
        check=False,
    )


def _saved(folder: Path, make: Callable[[], Any]) -> Path:
    import bpy

    bpy.ops.wm.read_factory_settings(use_empty=True)
    make()
    path = folder / "keeper.blend"
    bpy.ops.wm.save_as_mainfile(filepath=str(path))
    return path


def test_the_command_drafts_a_card_that_checks_and_whose_mistakes_it_names(tmp_path: Path) -> None:
    blend, card = _saved(tmp_path, foreign_arms.elbow_child_of), tmp_path / "card.json"
    done = run("card", blend, "--out", card)
    assert done.returncode == 0, done.stdout + done.stderr
    lines = done.stdout.splitlines()
    assert any("humerus.L" in line and "0.9" in line for line in lines)
    assert [line for line in lines if "[check this]" in line and " root " in line], done.stdout
    checked = run("card", blend, "--check", card)
    assert (checked.returncode, checked.stderr) == (0, ""), checked.stdout
    again = tmp_path / "again.json"
    assert run("card", blend, "--out", again, seed="11").returncode == 0
    assert again.read_bytes() == card.read_bytes()

    text = card.read_text()
    card.write_text(text.replace('"humerus.L"', '"humreus.L"').replace('"waist"', '"chest"'))
    wrong = run("card", blend, "--check", card)
    assert wrong.returncode == 1
    # The host says itself that it opened the file.
    said = [line for line in wrong.stdout.splitlines() if "Read blend" not in line]
    assert len(said) > 2 and all(line.startswith("card.json, line ") for line in said)
    assert 'the nearest name is "humerus.L"' in wrong.stdout and "twice" in wrong.stdout

    proved = run("proof", blend, "--card", card)
    assert proved.returncode == 2
    said = [line.removeprefix("armwright: ") for line in proved.stderr.splitlines() if "card.json" in line]
    assert len(said) > 2 and all(line.startswith("card.json, line ") for line in said), proved.stderr

    card.write_text(text[:100])
    cut = run("card", blend, "--check", card)
    assert cut.returncode == 2 and cut.stderr.startswith("armwright: card.json: ")


def test_a_proof_of_another_armature_than_the_card_s_says_so(tmp_path: Path) -> None:
    def two() -> None:
        foreign_arms.bare_fk("Wren")
        foreign_arms.bare_fk("Wader")

    blend, card = _saved(tmp_path, two), tmp_path / "card.json"
    assert run("card", blend, "--armature", "Wren", "--out", card).returncode == 0
    of_its_own = run("proof", blend, "--card", card)
    assert of_its_own.returncode == 0 and "note:" not in of_its_own.stderr, of_its_own.stderr
    of_another = run("proof", blend, "--card", card, "--armature", "Wader")
    assert of_another.returncode == 0, of_another.stderr
    assert "note: the card is of the armature 'Wren', and 'Wader' is looked at by it" in of_another.stderr
    checked = run("card", blend, "--armature", "Wader", "--check", card)
    assert "note: the card is of the armature 'Wren'" in checked.stdout


@pytest.mark.parametrize("what", ["no arms", "no armature", "no file", "no blend"])
def test_the_command_refuses_what_has_no_arms_in_a_sentence(tmp_path: Path, what: str) -> None:
    def make() -> None:
        if what == "no arms":
            import bpy

            armature = bpy.data.objects.new("Lamp", bpy.data.armatures.new("Lamp"))
            bpy.context.scene.collection.objects.link(armature)

    blend = _saved(tmp_path, make)
    given = {"no file": tmp_path / "none.blend", "no blend": tmp_path / "coat.obj"}.get(what, blend)
    done = run("card", given, "--out", tmp_path / "card.json")
    assert done.returncode == 2 and "Traceback" not in done.stderr
    assert done.stderr.count("armwright: ") == 1
    assert not (tmp_path / "card.json").exists()
