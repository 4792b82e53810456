"""Recorded motion on a rig: the recorded angles, holds that do not slide, switches without a pop, nothing lost."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from recordings import recording, segments

SLIDE, POP, POP_ANGLE = 2e-6, 1e-5, 1e-2


def done(armature: Any, study: Any, **options: Any) -> Any:
    from armwright.addon import transfer, transfer_report

    out = transfer.transfer_whole(armature, study, transfer.Options(**options))
    print(
        "\n".join(transfer_report.table(out)),
        out.sentence(),
        f"gap {out.gap:.1e} pop {out.pop:.1e} {out.pop_angle:.1e}",
        sep="\n",
    )
    return out


def figure(out: Any, arm: str, joint: str, unit: str = "degrees") -> Any:
    return next(item for item in out.differences if (item.arm, item.joint, item.unit) == (arm, joint, unit))


@pytest.mark.parametrize("noise", [0.0, 0.002])
def test_a_swing_has_the_recorded_directions_whatever_the_noise(wren: Any, noise: float) -> None:
    # The recorded directions are taken as they are, noise and all: what is left is the host's rounding of the closed
    # form, 5e-3 degrees at most (the bound of host against reference solver).
    out = done(wren, recording(wren, "swing", noise=noise))
    for arm in "LR":
        for joint in ("upper arm", "forearm"):
            assert figure(out, arm, joint).most < 5e-3
    assert figure(out, "", "torso").most < 5e-3
    # Each recorded joint is off by noise of its own; the rig's joints hang on the shoulder. Three joints' noise adds
    # up, each a distance that exceeds 5 deviations in fewer than one of 10,000 frames; the shoulder's own middle and
    # the first frame, from which travel counts, are as noisy.
    length = sum(segments(wren))
    for arm in "LR":
        assert figure(out, arm, "wrist", "L").most < 5e-6 + 5.0 * 5.0 * noise / length


def test_a_dial_that_nothing_turns_has_a_key_at_either_end_alone(wren: Any) -> None:
    from armwright.addon.curves import own_bag

    done(wren, recording(wren, "plant"))
    counts = {
        (curve.data_path, arm): len(curve.keyframe_points)
        for curve in own_bag(wren).fcurves
        for arm in "LR"
        if f'clavicle.{arm}"]["' in curve.data_path
    }
    print(counts)
    # The left hand is planted once: on, off, and the ends. What a segment's length gives way by is made up for over
    # 0.2 s before and after.
    for (path, arm), count in counts.items():
        moves = {"ik": 4, "upper_length": 2 + 2 * 6, "forearm_length": 2}
        name = path.rpartition('["')[2][:-2]
        assert count <= (moves.get(name, 2) if arm == "L" else 2), (path, count)


@pytest.mark.parametrize("what", ["plant", "lean", "carry"])
@pytest.mark.parametrize("factors", [(1.0, 1.0), (0.8, 0.8), (1.3, 1.3), (0.8, 1.3), (1.3, 0.8)])
def test_a_hold_does_not_slide_and_its_switches_do_not_pop(wren: Any, what: str, factors: tuple[float, float]) -> None:
    out = done(wren, recording(wren, what, factors))
    part, on, arm = {"plant": ("hand", "world", "L"), "lean": ("elbow", "world", "L"), "carry": ("hand", "L", "R")}[
        what
    ]
    assert [(hold.arm, hold.part, hold.on) for hold in out.holds] == [(arm, part, on)]
    assert out.holds[0].out_of_reach == 0
    assert out.slide <= SLIDE
    assert out.holds[0].turned <= 1e-3
    assert out.pop <= POP and out.pop_angle <= POP_ANGLE
    assert out.gap < 1e-5
    # The torso has moved meanwhile: read from the host, not from the report.
    import bpy

    shoulder = []
    for frame in range(out.holds[0].first, out.holds[0].last + 1):
        bpy.context.scene.frame_set(frame)
        shoulder.append(list(wren.pose.bones[f"skin.upper_arm.{arm}"].head))
    assert np.ptp(np.array(shoulder), axis=0).max() > 0.03
    # What no hold has a part in keeps its recorded angles, whatever the proportions.
    for joint in ("upper arm", "forearm"):
        assert figure(out, arm, joint).free < 5e-3


def test_the_held_hand_stands_in_the_host(wren: Any) -> None:
    import bpy

    out = done(wren, recording(wren, "plant"))
    hold, places = out.holds[0], []
    for frame in np.arange(hold.first, hold.last + 0.01, 0.5):
        bpy.context.scene.frame_set(int(frame), subframe=float(frame % 1.0))
        places.append(list(wren.pose.bones["skin.hand.L"].head))
    away = np.linalg.norm(np.array(places) - places[0], axis=1).max() / sum(segments(wren))
    print(f"slide over whole and half frames {away:.1e} L")
    assert away <= SLIDE


def test_a_place_out_of_reach_is_said_with_what_is_missing(wren: Any) -> None:
    study = recording(wren, "plant")
    for arm in study.motion.arms:
        if arm.arm == "L":
            arm.wrist[30:76] += [0.0, -0.5, 0.0]
    out = done(wren, study)
    hold = out.holds[0]
    assert hold.out_of_reach == hold.last - hold.first + 1
    assert hold.missing > 0.1
    assert "out of reach" in out.sentence()


def test_a_stretch_that_the_dial_permits_reaches(wren: Any) -> None:
    study = recording(wren, "plant")
    for arm in study.motion.arms:
        if arm.arm == "L":
            arm.wrist[30:76] += [0.0, -0.3, 0.0]
    wren.pose.bones["fk.clavicle.L"]["stretch"] = 1.0
    out = done(wren, study)
    assert out.holds[0].out_of_reach == 0 and out.slide <= SLIDE
    assert out.pop <= POP and out.pop_angle <= POP_ANGLE


def test_the_fewest_keys_keep_to_the_tolerance(wren: Any) -> None:
    counts = []
    for keys in ("every", "fewest"):
        out = done(wren, recording(wren, "plant"), keys=keys, tolerance=0.01)
        assert out.slide <= SLIDE
        assert out.gap * sum(segments(wren)) <= 0.01
        counts.append(out.keys)
    assert counts[1] < counts[0]


def test_the_old_action_is_kept_and_keys_are_not_replaced_unasked(wren: Any) -> None:
    from swings import animated, every_key

    from armwright.core.errors import HostError

    animated(wren)
    old, before = wren.animation_data.action, every_key(wren)
    with pytest.raises(HostError, match="within"):
        done(wren, recording(wren, "plant"), into="same")
    assert every_key(wren) == before
    out = done(wren, recording(wren, "plant"))
    assert wren.animation_data.action != old and old.use_fake_user and out.kept_action == old.name
    wren.animation_data.action = old
    assert every_key(wren) == before
    again = done(wren, recording(wren, "plant"), into="same", replace=True)
    assert wren.animation_data.action == old and again.kept_action == "" and every_key(wren) != before


@pytest.mark.parametrize("into", ["new", "same"])
@pytest.mark.parametrize("keyed", [False, True])
@pytest.mark.parametrize("stop", ["closed", "failed"])
def test_stopped_half_way_everything_is_as_before(
    wren: Any, monkeypatch: pytest.MonkeyPatch, into: str, keyed: bool, stop: str
) -> None:
    import bpy
    from deep_snapshot import deep_snapshot, differences
    from swings import animated, every_key

    from armwright.addon import transfer

    if keyed:
        animated(wren)
    bpy.context.scene.frame_set(7)
    study = recording(wren, "carry")
    before, keys = deep_snapshot(), every_key(wren) if keyed else {}
    if stop == "failed":

        def fails(*_: Any) -> Any:
            raise ZeroDivisionError("injected")

        monkeypatch.setattr(transfer, "measured_pops", fails)
        with pytest.raises(ZeroDivisionError):
            transfer.transfer_whole(wren, study, transfer.Options(into=into, replace=True))
    else:
        steps = transfer.transferring(wren, study, transfer.Options(into=into, replace=True))
        for step in steps:
            if step.what == "measuring":
                break
        steps.close()
    assert differences(before, deep_snapshot()) == []
    assert (every_key(wren) if keyed else {}) == keys
