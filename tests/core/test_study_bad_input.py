"""Motion that is not as one would wish it, as a table, as arrays and as a BVH: studied, or refused in one sentence."""

from __future__ import annotations

import io
import warnings
import zipfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from made_motions import planted_hand
from numpy.typing import NDArray

from armwright.core.errors import MotionError
from armwright.core.motion.bvh import Bvh, read_bvh
from armwright.core.study.from_bvh import motion_of_bvh
from armwright.core.study.from_table import motion_of_csv, motion_of_npz
from armwright.core.study.motion import StudyMotion
from armwright.core.study.study import study
from armwright.core.study.study_json import record_of, to_text

Array = NDArray[np.float64]
Parts = dict[str, Array]
Said = dict[str, float | str]

EXCERPT = Path(__file__).resolve().parents[1] / "data" / "cmu_01_01_upper.bvh"
SAID: Said = {"rate": 60.0, "unit": "m", "up": "Z", "facing": "-Y"}
JOINTS = ("shoulder", "elbow", "wrist", "tip")


def ladder() -> Parts:
    motion = planted_hand(60.0, 3, 0.0).motion
    parts = {f"L.{joint}": getattr(motion.arms[0], joint) for joint in JOINTS}
    turn = np.tile([1.0, 0.0, 0.0, 0.0], (motion.frames, 1))
    return parts | {"torso": motion.torso[:, :3, 3], "torso.turn": turn}


def as_csv(parts: Parts, said: Said) -> StudyMotion:
    words = {key: f'"{value}"' if isinstance(value, str) else repr(value) for key, value in said.items()}
    head = "".join(f"# {key} = {word}\n" for key, word in words.items())
    names = [f"{part}.{axis}" for part, array in parts.items() for axis in "wxyz"[4 - array.shape[1] :]]
    rows = np.concatenate(list(parts.values()), axis=1) if parts else np.zeros((9, 0))
    lines = [",".join("" if np.isnan(value) else repr(float(value)) for value in row) for row in rows]
    return motion_of_csv(head + ",".join(names or ["a", "b"]) + "\n" + "\n".join(lines if parts else ["1,2"]), "rope")


def as_npz(parts: Parts, said: Said) -> StudyMotion:
    packed = io.BytesIO()
    np.savez(packed, **{key: np.array(value) for key, value in said.items()}, **parts)
    return motion_of_npz(packed.getvalue(), "rope")


TABLES = pytest.mark.parametrize("table", [as_csv, as_npz])
Table = Callable[[Parts, Said], StudyMotion]


def is_studied(motion: StudyMotion) -> None:
    """Every frame of every hand is in one phase, and every figure is a finite number: the written form says so."""
    found = study(motion)
    text = to_text(record_of(found))
    assert "NaN" not in text and "Infinity" not in text
    for arm in motion.arms:
        hand = [one for one in found.phases if one.arm == arm.arm and one.kind != "elbow-planted"]
        assert sum(one.last - one.first + 1 for one in hand) == motion.frames


def refused(table: Table, parts: Parts, said: Said, message: str) -> None:
    with pytest.raises(MotionError, match=message) as caught:
        table(parts, said)
    assert "\n" not in str(caught.value)


def changed(part: str, change: Callable[[Array], Array]) -> Parts:
    parts = ladder()
    return parts | {part: change(parts[part].copy())}


def lost(first: int, last: int) -> Callable[[Array], Array]:
    def change(values: Array) -> Array:
        values[first : last + 1] = np.nan
        return values

    return change


@TABLES
@pytest.mark.parametrize("part", ["L.wrist", "L.tip", "torso", "torso.turn"])
def test_a_short_gap_in_any_part_is_bridged_and_said_and_a_long_one_refused(table: Table, part: str) -> None:
    whole = table(ladder(), SAID)
    found = table(changed(part, lost(300, 311)), SAID)
    assert found.frames == whole.frames and found.left_out == 0
    assert any("12 frames without numbers are bridged straight" in note for note in found.notes)
    is_studied(found)
    refused(table, changed(part, lost(300, 312)), SAID, "frames 300 to 312 have no numbers: a gap of more than 0.2 s")


@TABLES
def test_what_has_no_number_at_all_is_named(table: Table) -> None:
    refused(table, changed("L.tip", lost(0, 10_000)), SAID, "arm L's tip has no number in any frame")
    refused(table, changed("torso.turn", lost(0, 10_000)), SAID, "the torso has no number in any frame")


@TABLES
@pytest.mark.parametrize("frames", [2, 3, 7, 8, 20])
def test_a_clip_of_few_frames_is_studied(table: Table, frames: int) -> None:
    is_studied(table({part: array[:frames] for part, array in ladder().items()}, SAID))


@TABLES
def test_one_frame_is_refused_and_so_is_none(table: Table) -> None:
    refused(table, {part: array[:1] for part, array in ladder().items()}, SAID, "1 frame holds no motion")
    refused(table, {part: array[:0] for part, array in ladder().items()}, SAID, "no frame")


@TABLES
def test_a_clip_in_which_nothing_moves_is_one_long_plant(table: Table) -> None:
    motion = table({part: np.repeat(array[:1], 200, axis=0) for part, array in ladder().items()}, SAID)
    is_studied(motion)
    found = [(one.kind, one.first, one.last) for one in study(motion).phases]
    assert found == [("hand-planted", 0, 199), ("elbow-planted", 0, 199)]


@TABLES
@pytest.mark.parametrize("rate", [0.0, -60.0, 0.5, 5000.0])
def test_a_rate_that_no_recording_has_is_refused(table: Table, rate: float) -> None:
    refused(table, ladder(), SAID | {"rate": rate}, "frames a second is no rate of a recording: give 1 to 1000")


@TABLES
@pytest.mark.parametrize("rate", ["nan", "inf"])
def test_a_rate_that_is_no_number_is_refused(table: Table, rate: str) -> None:
    if table is as_npz:
        refused(table, ladder(), SAID | {"rate": float(rate)}, "no rate of a recording")
    refused(table, ladder(), SAID | {"rate": rate}, "is no number of frames a second")


@TABLES
@pytest.mark.parametrize(("unit", "metres"), [("cm", 0.01), ("in", 0.0254), ("ft", 0.3048), ("mm", 0.001)])
def test_another_unit_gives_the_same_motion_and_the_wrong_one_is_refused_with_the_likely_one(
    table: Table, unit: str, metres: float
) -> None:
    parts = {part: array / metres if array.shape[1] == 3 else array for part, array in ladder().items()}
    found, expected = table(parts, SAID | {"unit": unit}), table(ladder(), SAID)
    for joint in JOINTS:
        assert np.allclose(getattr(found.arms[0], joint), getattr(expected.arms[0], joint), atol=1e-9)
    named = {"cm": "centimetres", "in": "inches", "ft": "feet", "mm": "millimetres"}[unit]
    if unit == "ft":
        # Feet read as metres make an arm of 2 m, a giant's: nothing tells them apart.
        assert table(parts, SAID).arms[0].length == pytest.approx(expected.arms[0].length / metres)
        return
    refused(table, parts, SAID, rf"which is no arm's: give the unit \({named} would make it 0.6")


@TABLES
@pytest.mark.parametrize(
    ("up", "facing"), [("Z", "-Y"), ("Y", "Z"), ("-Y", "X"), ("X", "-Z"), ("Z", "X")], ids=lambda axis: axis
)
def test_any_axis_up_gives_the_same_motion(table: Table, up: str, facing: str) -> None:
    plain = dict(zip("XYZ", np.eye(3), strict=True))
    axes = plain | {f"-{axis}": -along for axis, along in plain.items()}
    # Rows: where the study's left, back and up point in the file's axes.
    back = -axes[facing]
    to_file = np.stack([np.cross(back, axes[up]), back, axes[up]])
    parts = {part: array @ to_file for part, array in ladder().items() if array.shape[1] == 3}
    parts |= {f"R.{joint}": (ladder()[f"L.{joint}"] - [0.5, 0.0, 0.0]) @ to_file for joint in JOINTS}
    found = table(parts, SAID | {"up": up, "facing": facing})
    assert np.allclose(found.arms[0].wrist, ladder()["L.wrist"], atol=1e-9)
    assert np.allclose(found.torso[:, :3, :3], np.eye(3), atol=1e-9)


@TABLES
def test_quaternions_of_any_length_are_made_units_and_zero_is_refused(table: Table) -> None:
    turned = np.tile([np.sqrt(0.5), 0.0, 0.0, np.sqrt(0.5)], (len(ladder()["L.wrist"]), 1))
    plain = table(ladder() | {"L.hand": turned}, SAID)
    found = table(ladder() | {"L.hand": turned * 3.0, "torso.turn": ladder()["torso.turn"] * 0.2}, SAID)
    assert np.allclose(found.arms[0].hand, plain.arms[0].hand) and np.allclose(found.torso, plain.torso)
    assert sum("not of length 1 and are made so" in note for note in found.notes) == 2
    turned[9] = 0.0
    refused(table, ladder() | {"L.hand": turned}, SAID, "L.hand' is a quaternion of zero at frame 9")


@TABLES
def test_a_t_pose_in_front_is_left_out_and_said(table: Table) -> None:
    parts = ladder()
    for joint, out in (("elbow", 0.336), ("wrist", 0.6), ("tip", 0.79)):
        parts[f"L.{joint}"] = parts[f"L.{joint}"].copy()
        parts[f"L.{joint}"][:40] = parts["L.shoulder"][:40] + np.array([out, 0.0, 0.0])
    motion = table(parts, SAID)
    assert motion.left_out == 40 and motion.frames == len(parts["torso"]) - 40
    assert "40 frames of a calibration pose in front are left out" in motion.notes
    is_studied(motion)


@TABLES
def test_no_arms_and_half_an_arm_are_refused(table: Table) -> None:
    refused(table, {"torso": ladder()["torso"]}, SAID, "no arms were found")
    refused(table, {}, SAID, "no arms were found")
    half = ladder()
    del half["L.wrist"]
    refused(table, half, SAID, "arm 'L': there is no wrist")


@TABLES
@pytest.mark.parametrize(
    ("part", "other", "message"),
    [
        ("L.elbow", "L.shoulder", "shoulder and elbow are at one place, so the upper arm has no length"),
        ("L.wrist", "L.elbow", "elbow and wrist are at one place, so the forearm has no length"),
        ("L.wrist", "torso", "changes its length by more than 25 %"),
    ],
)
def test_one_joint_under_two_names_is_refused(table: Table, part: str, other: str, message: str) -> None:
    refused(table, ladder() | {part: ladder()[other]}, SAID, message)


@TABLES
def test_arms_that_do_not_tell_how_the_torso_turns_are_refused(table: Table) -> None:
    parts = ladder()
    del parts["torso.turn"]
    refused(table, parts, SAID, "one arm alone does not tell how the torso turns")
    same = {f"R.{joint}": parts[f"L.{joint}"] for joint in JOINTS}
    refused(table, parts | same, SAID, "the shoulders are above each other, or at one place")
    apart = {part: array - [0.36, 0.0, 0.0] for part, array in same.items()}
    line = {"hips": parts["L.shoulder"] - [0.7, 0.0, 0.0]}
    refused(table, parts | apart | line, SAID, "the shoulders and the hips are on one line")
    is_studied(table(parts | apart, SAID))


def test_arrays_of_one_name_are_refused() -> None:
    packed = io.BytesIO()
    np.savez(packed, **{key: np.array(value) for key, value in SAID.items()}, **ladder())
    second = io.BytesIO()
    np.save(second, ladder()["L.wrist"] + 1.0)
    with warnings.catch_warnings(), zipfile.ZipFile(packed, "a") as file:
        warnings.simplefilter("ignore")
        file.writestr("L.wrist.npy", second.getvalue())
    with pytest.raises(MotionError, match=r"two arrays are called 'L\.wrist'"):
        motion_of_npz(packed.getvalue(), "rope")


@pytest.mark.parametrize("kind", [np.complex128, np.bool_, np.str_])
def test_arrays_of_no_real_numbers_are_refused(kind: type) -> None:
    with pytest.raises(MotionError, match=r"L\.wrist' holds .* expected real numbers"):
        as_npz({**ladder(), "L.wrist": ladder()["L.wrist"].astype(kind)}, SAID)
    with pytest.raises(MotionError, match=r"no \.npz of plain numbers"):
        as_npz({**ladder(), "L.wrist": ladder()["L.wrist"].astype(object)}, SAID)


def jumps() -> Bvh:
    return read_bvh(EXCERPT.read_bytes())


def bvh_motion(bvh: Bvh, unit: float | None = None) -> StudyMotion:
    return motion_of_bvh(bvh, "jumps", unit=unit)


def scaled(bvh: Bvh, factor: float) -> Bvh:
    frames = bvh.frames.copy()
    for joint in bvh.joints:
        for place, channel in enumerate(joint.channels):
            if channel.endswith("position"):
                frames[:, joint.column + place] *= factor
    joints = tuple(
        replace(
            joint,
            offset=tuple(factor * value for value in joint.offset),
            end=None if joint.end is None else tuple(factor * value for value in joint.end),
        )
        for joint in bvh.joints
    )
    return replace(bvh, joints=joints, frames=frames)


def z_up(bvh: Bvh) -> Bvh:
    """The same motion in axes X, -Z, Y of the file: a quarter turn about X."""
    frames, joints = bvh.frames.copy(), []
    to = {"X": ("X", 1.0), "Y": ("Z", 1.0), "Z": ("Y", -1.0)}
    for joint in bvh.joints:
        channels = tuple(to[channel[0]][0] + channel[1:] for channel in joint.channels)
        for place, channel in enumerate(joint.channels):
            frames[:, joint.column + place] *= to[channel[0]][1]
        turned = [None if at is None else (at[0], -at[2], at[1]) for at in (joint.offset, joint.end)]
        joints.append(replace(joint, channels=channels, offset=turned[0], end=turned[1]))
    return replace(bvh, joints=tuple(joints), frames=frames)


@pytest.mark.parametrize(("unit", "metres"), [("cm", 0.01), ("in", 0.0254), ("ft", 0.3048), ("mm", 0.001), ("m", 1.0)])
def test_a_bvh_in_any_unit_gives_the_same_motion_and_says_which_unit(unit: str, metres: float) -> None:
    expected = bvh_motion(jumps())
    found = bvh_motion(scaled(jumps(), 0.0254 / 0.45 / metres))
    assert np.allclose(found.arms[0].wrist, expected.arms[0].wrist, atol=1e-9)
    assert unit == "m" or any(f"a unit is taken as 1 {unit}" in note for note in found.notes)


def test_a_bvh_in_a_unit_that_nobody_uses_is_taken_as_an_adult_s() -> None:
    odd = bvh_motion(scaled(jumps(), 0.37))
    assert np.mean([arm.length for arm in odd.arms]) == pytest.approx(0.6, rel=1e-6)
    assert any("fits no unit" in note for note in odd.notes)


def test_a_bvh_with_z_up_gives_the_same_motion() -> None:
    expected, found = bvh_motion(jumps()), bvh_motion(z_up(jumps()))
    for joint in (*JOINTS, "hand", "upper"):
        for one, other in zip(found.arms, expected.arms, strict=True):
            assert np.allclose(getattr(one, joint), getattr(other, joint), atol=1e-9), joint
    assert np.allclose(found.torso, expected.torso, atol=1e-9)


def test_rest_frames_in_front_of_a_bvh_are_left_out_and_said() -> None:
    bvh = jumps()
    rest = np.zeros((25, bvh.frames.shape[1]))
    motion = bvh_motion(replace(bvh, frames=np.concatenate([rest, bvh.frames])))
    assert motion.left_out == 25 and motion.frames == len(bvh.frames)
    assert "25 frames of a calibration pose in front are left out" in motion.notes
    # A T-pose that was held by a person is none of the file's own: it breathes.
    held = np.random.default_rng(1).normal(size=rest.shape) * 0.5
    motion = bvh_motion(replace(bvh, frames=np.concatenate([held, bvh.frames])))
    assert motion.left_out == 25
    is_studied(motion)


@pytest.mark.parametrize("frames", [2, 3, 7, 8])
def test_a_bvh_of_few_frames_is_studied(frames: int) -> None:
    is_studied(bvh_motion(replace(jumps(), frames=jumps().frames[:frames])))


@pytest.mark.parametrize("seconds", [2.0, 1e-5])
def test_a_bvh_with_a_frame_time_that_no_recording_has_is_refused(seconds: float) -> None:
    with pytest.raises(MotionError, match="is no rate of a recording"):
        bvh_motion(replace(jumps(), frame_time=seconds))


@pytest.mark.parametrize("word", ["nan", "inf", "-", "1e99"])
def test_a_gap_in_a_bvh_is_refused_with_its_line(word: str) -> None:
    lines = EXCERPT.read_text().split("\n")
    at = next(index for index, line in enumerate(lines) if line.startswith("Frame Time")) + 20
    lines[at] = f"{word} " + lines[at].strip().split(" ", 1)[1]
    with pytest.raises(MotionError, match=f"line {at + 1}: '{word}' is not a number"):
        read_bvh("\n".join(lines))


def test_joints_of_a_bvh_that_are_one_or_no_arm_s_are_refused() -> None:
    bvh = jumps()
    with pytest.raises(MotionError, match="name three joints"):
        motion_of_bvh(bvh, "jumps", joints={"L": ("LeftArm", "LeftHand")})
    with pytest.raises(MotionError, match="no joint 'LeftPaw'"):
        motion_of_bvh(bvh, "jumps", joints={"L": ("LeftArm", "LeftForeArm", "LeftPaw")})
    with pytest.raises(MotionError, match="at one place"):
        motion_of_bvh(bvh, "jumps", joints={"L": ("LeftArm", "LeftArm", "LeftForeArm")})
