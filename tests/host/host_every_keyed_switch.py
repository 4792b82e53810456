"""Hundreds of keyed changes over animated shots: what was before stays, frame by frame and curve by curve."""

from __future__ import annotations

from typing import Any

import numpy as np
from every_switch import MODES
from props import lantern, subject_of

SEED = 31415
SHOTS, CHANGES = 12, 20
LAST = 60
# Whole frames and what is between them.
TIMES = np.arange(0.0, LAST + 4.0, 0.5)
# Slide of what was keyed before: arm lengths.
SLIDE = 2e-6
# Single precision of a curve's values, and of its handles after a cut (host_keys.py).
CURVE = 2e-6


def _shot(rng: np.random.Generator, armature: Any, prop: Any) -> None:
    """Torso, head, both arms and the prop keyed at random frames with random interpolation."""
    from armwright.addon.convert_write import curve_bag

    bones = armature.pose.bones
    for name in ("torso.1", "torso.2", "head"):
        bones[name].rotation_mode = "XYZ"
    for frame in sorted(rng.choice(np.arange(1, LAST), 5, replace=False).tolist()):
        for name in ("torso.1", "torso.2", "head"):
            bones[name].rotation_euler = rng.uniform(-0.15, 0.15, 3).tolist()
            bones[name].keyframe_insert("rotation_euler", frame=frame)
        for side in "LR":
            for name, angles in (
                ("clavicle", rng.uniform(-0.15, 0.15, 3)),
                ("upper_arm", rng.uniform(-0.5, 0.5, 3)),
                ("forearm", (rng.uniform(0.5, 1.4), rng.uniform(-0.6, 0.6), rng.uniform(-0.2, 0.2))),
                ("hand", rng.uniform(-0.4, 0.4, 3)),
            ):
                bones[f"fk.{name}.{side}"].rotation_euler = list(angles)
                bones[f"fk.{name}.{side}"].keyframe_insert("rotation_euler", frame=frame)
        prop.location = rng.uniform(-0.1, 0.1, 3).tolist()
        prop.scale = np.exp(rng.uniform(-0.2, 0.2, 3)).tolist()
        for path in ("location", "scale"):
            prop.keyframe_insert(path, frame=frame)
    for curve in curve_bag(armature).fcurves:
        for point in curve.keyframe_points:
            point.interpolation = str(rng.choice(["BEZIER", "BEZIER", "LINEAR", "CONSTANT"]))
        curve.update()


class _Reader:
    def __init__(self, armature: Any) -> None:
        names = [name for name in (bone.name for bone in armature.pose.bones) if name.startswith("skin.")]
        places = {bone.name: place for place, bone in enumerate(armature.pose.bones)}
        self.places, self.armature = np.array([places[name] for name in names]), armature
        self.buffer = np.zeros(16 * len(places), np.float32)

    def now(self) -> np.ndarray:
        import bpy

        bones = self.armature.evaluated_get(bpy.context.view_layer.depsgraph).pose.bones
        bones.foreach_get("matrix", self.buffer)
        return self.buffer.reshape(-1, 4, 4)[self.places].transpose(0, 2, 1).astype(float)

    def shot(self) -> np.ndarray:
        import bpy

        out = []
        for frame in range(LAST + 2):
            bpy.context.scene.frame_set(frame)
            out.append(self.now())
        return np.array(out)


def _curves(armature: Any) -> dict[tuple[str, int], tuple[np.ndarray, np.ndarray]]:
    """Values at TIMES and the frames of the keys, by curve."""
    from armwright.addon.convert_write import curve_bag

    out = {}
    for curve in curve_bag(armature).fcurves:
        keys = np.array([point.co.x for point in curve.keyframe_points])
        out[curve.data_path, curve.array_index] = (np.array([curve.evaluate(time) for time in TIMES]), keys)
    return out


def _change(rng: np.random.Generator, subject: Any, prop: Any) -> str:
    """A random kind of change on this frame; its name."""
    from armwright.addon import grab, spaces
    from armwright.addon.switch import switch
    from armwright.core.match.target import Target

    arm = str(rng.choice(["L", "R"]))
    kind = str(rng.choice(["mode", "mode", "dial", "space", "grab", "release"]))
    if kind == "mode":
        mode = str(rng.choice(list(MODES)))
        outcome = switch(subject, arm, Target(ik=MODES[mode][0], elbow=MODES[mode][1]), keyed=True)
        kind = f"{arm} to {mode}"
    elif kind == "dial":
        dial = str(rng.choice(["isolate", "lift", "stretch"]))
        outcome = switch(subject, arm, Target(**{dial: float(rng.integers(2))}), keyed=True)
        kind = f"{arm} {dial}"
    elif kind == "space":
        hold = str(rng.choice(["hand", "elbow"]))
        key = str(rng.choice(["world", "torso", "head"]))
        outcome = spaces.set_space(subject, arm, hold, spaces.space_named(subject, arm, hold, key), keyed=True)
        kind = f"{arm} {hold} in {key}"
    elif kind == "grab":
        parts, thing = str(rng.choice(["hand", "elbow", "both"])), grab.Thing(prop) if rng.integers(2) else None
        outcome = grab.grab(subject, arm, parts, thing, keyed=True)
        kind = f"{arm} grabs {thing} with {parts}"
    else:
        outcome = grab.release(subject, arm, keyed=True)
        kind = f"{arm} lets go"
    assert np.isfinite(outcome.pop), kind
    return kind


def test_no_keyed_change_alters_what_was_before_it(empty_file: Any) -> None:
    import bpy
    from characters import wren_on_own_armature

    print("seed", SEED)
    rng = np.random.default_rng(SEED)
    worst: dict[str, tuple[float, str]] = {name: (0.0, "") for name in ("before", "curve", "pop", "turn")}
    failed, count, keyed = [], 0, 0

    def note(name: str, value: float, limit: float, case: str) -> None:
        worst[name] = max(worst[name], (value, case))
        if not value < limit:
            failed.append(f"{case}: {name} {value:.1e}")

    for shot in range(SHOTS):
        bpy.ops.wm.read_factory_settings(use_empty=True)
        wren, prop = wren_on_own_armature(), lantern()
        _shot(rng, wren, prop)
        subject = subject_of(wren)
        length = subject.geometries["L"].upper_length + subject.geometries["L"].forearm_length
        reader = _Reader(wren)
        poses, curves = reader.shot(), _curves(wren)
        for _ in range(CHANGES):
            frame = int(rng.integers(2, LAST))
            bpy.context.scene.frame_set(frame)
            before = reader.now()
            kind = _change(rng, subject, prop)
            case = f"shot {shot}, frame {frame}: {kind}"
            count += 1
            assert bpy.context.scene.frame_current == frame
            gap, turn = _apart(before, reader.now(), length)
            # What can not be kept (an elbow out of its segment's range) is the other test's.
            note("pop", gap, 1e-5, case)
            note("turn", turn, 1e-2, case)
            after, now = reader.shot(), _curves(wren)
            assert np.isfinite(after).all(), case
            note("pop", _apart(before, after[frame], length)[0], 1e-5, f"{case}, evaluated again")
            note("before", float(np.abs(after[:frame] - poses[:frame]).max()) / length, SLIDE, case)
            for name, (values, times) in now.items():
                old, old_times = curves.get(name, (None, np.zeros(0)))
                new = np.setdiff1d(times, old_times)
                keyed += len(new)
                assert set(new.tolist()) <= {frame - 1.0, float(frame)}, (case, name, new)
                assert len(np.setdiff1d(old_times, times)) == 0, (case, name)
                assert np.isfinite(values).all(), (case, name)
                if old is None:
                    continue
                later = old_times[old_times > frame]
                same = (frame - 1 >= TIMES) | ((later.min() if len(later) else np.inf) <= TIMES)
                if len(new) == 0 and np.array_equal(values, old):
                    continue
                note("curve", float(np.abs(values - old)[same].max(initial=0.0)), CURVE, f"{case}: {name}")
            poses, curves = after, now
    print(f"{count} keyed changes, {keyed} keys")
    for name, (value, case) in worst.items():
        print(f"worst {name} {value:.2e}: {case}")
    for line in failed[:30]:
        print("FAILED", line)
    assert failed == []
    assert count == SHOTS * CHANGES
    assert keyed > 10 * count


def _apart(first: np.ndarray, second: np.ndarray, length: float) -> tuple[float, float]:
    from swings import apart

    gap, turn = apart(first, second)
    return gap / length, turn
