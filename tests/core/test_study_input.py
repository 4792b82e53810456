"""What a study reads, and what it refuses in one plain sentence."""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from made_motions import Made, planted_hand

from armwright.core.errors import MotionError
from armwright.core.motion.bvh import read_bvh
from armwright.core.study.from_bvh import motion_of_bvh
from armwright.core.study.from_table import motion_of_csv, motion_of_npz
from armwright.core.study.motion import StudyMotion
from armwright.core.study.prepare import prepared

EXCERPT = Path(__file__).resolve().parents[1] / "data" / "cmu_01_01_upper.bvh"
HEAD = '# rate = 60\n# unit = "m"\n# up = "Z"\n# facing = "-Y"\n'
PARTS = ("shoulder", "elbow", "wrist", "tip")


@pytest.fixture(scope="module")
def rope() -> Made:
    made = planted_hand(60.0, 3, 0.0)
    wheel = made.motion.arms[0].wrist + np.array([0.3, 0.0, 0.1])
    return replace(made, motion=replace(made.motion, things=(("wheel", wheel),)))


def parts_of(motion: StudyMotion) -> dict[str, np.ndarray]:
    parts = {f"{arm.arm}.{part}": getattr(arm, part) for arm in motion.arms for part in PARTS}
    parts["torso"] = motion.torso[:, :3, 3]
    parts["torso.turn"] = np.tile([1.0, 0.0, 0.0, 0.0], (motion.frames, 1))
    return parts | {f"thing.{name}": place for name, place in motion.things}


def csv_of(parts: dict[str, np.ndarray], head: str = HEAD) -> str:
    names = [f"{part}.{axis}" for part, array in parts.items() for axis in "wxyz"[4 - array.shape[1] :]]
    rows = np.concatenate(list(parts.values()), axis=1)
    lines = [",".join("" if np.isnan(value) else repr(float(value)) for value in row) for row in rows]
    return head + ",".join(names) + "\n" + "\n".join(lines) + "\n"


def test_a_table_gives_the_motion_that_was_written(rope: Made) -> None:
    read = motion_of_csv(csv_of(parts_of(rope.motion)), "rope")
    assert read.rate == 60.0 and read.notes == () and read.things[0][0] == "wheel"
    for part in PARTS:
        assert np.allclose(getattr(read.arms[0], part), getattr(rope.motion.arms[0], part), atol=1e-12)
    packed = io.BytesIO()
    said = {"rate": 60.0, "unit": "m", "up": "Z", "facing": "-Y"}
    np.savez(packed, **said, **parts_of(rope.motion))
    assert np.allclose(motion_of_npz(packed.getvalue(), "rope").arms[0].wrist, read.arms[0].wrist)


@pytest.mark.parametrize(("unit", "metres"), [("cm", 0.01), ("ft", 0.3048), ("in", 0.0254), ("mm", 0.001)])
def test_units_and_axes_of_a_table_are_those_of_its_head(rope: Made, unit: str, metres: float) -> None:
    # Y up, facing +Z: left, back, up are X, -Z, Y.
    to_file = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]])
    parts = {
        name: array if array.shape[1] == 4 else array @ to_file / metres
        for name, array in parts_of(rope.motion).items()
    }
    del parts["torso.turn"]
    turn = np.array([np.sqrt(0.5), -np.sqrt(0.5), 0.0, 0.0])
    parts["torso.turn"] = np.tile(turn, (rope.motion.frames, 1))
    head = f'# rate = 60\n# unit = "{unit}"\n# up = "Y"\n# facing = "Z"\n'
    read = motion_of_csv(csv_of(parts, head), "rope")
    assert np.allclose(read.arms[0].wrist, rope.motion.arms[0].wrist, atol=1e-9)
    assert np.allclose(read.torso[:, :3, :3], np.eye(3), atol=1e-9)


def test_columns_of_other_names_are_found_by_the_description(rope: Made) -> None:
    text = csv_of(parts_of(rope.motion)).replace("L.wrist.x", "LWRX")
    layout = '[columns]\n"L.wrist" = ["LWRX", "L.wrist.y", "L.wrist.z"]\n'
    read = motion_of_csv(text, "rope", layout)
    assert np.allclose(read.arms[0].wrist, rope.motion.arms[0].wrist)
    with pytest.raises(MotionError, match="no column 'LWRY'"):
        motion_of_csv(text, "rope", layout.replace("L.wrist.y", "LWRY"))


def test_quaternions_of_another_length_are_made_units_and_those_of_none_refused(rope: Made) -> None:
    parts = parts_of(rope.motion)
    parts["torso.turn"] = parts["torso.turn"] * 2.0
    read = motion_of_csv(csv_of(parts), "rope")
    assert np.allclose(read.torso[:, :3, :3], np.eye(3)) and "not of length 1" in read.notes[0]
    parts["torso.turn"] = parts["torso.turn"].copy()
    parts["torso.turn"][7] = 0.0
    with pytest.raises(MotionError, match="quaternion of zero at frame 7"):
        motion_of_csv(csv_of(parts), "rope")


def test_short_gaps_are_bridged_and_counted_and_long_ones_refused(rope: Made) -> None:
    parts = parts_of(rope.motion)
    wrist = parts["L.wrist"] = parts["L.wrist"].copy()
    whole = wrist.copy()
    wrist[100:106] = np.nan
    wrist[:3] = np.nan
    read = motion_of_csv(csv_of(parts), "rope")
    assert read.left_out == 3 and read.frames == len(wrist) - 3
    assert "3 frames without numbers at the ends" in read.notes[0] and "6 frames" in read.notes[1]
    share = np.arange(1, 7)[:, None] / 7.0
    assert np.allclose(read.arms[0].wrist[97:103], whole[99] + share * (whole[106] - whole[99]))
    wrist[200:240] = np.nan
    with pytest.raises(MotionError, match="frames 200 to 239 have no numbers"):
        motion_of_csv(csv_of(parts), "rope")


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (lambda text: text.replace("# rate = 60\n", ""), "no rate"),
        (lambda text: text.replace("rate = 60", "rate = 0"), "no rate of a recording"),
        (lambda text: text.replace("rate = 60", "rate = ="), "no TOML"),
        (lambda text: text.replace('unit = "m"', 'unit = "ell"'), "unit 'ell'"),
        (lambda text: text.replace('up = "Z"', 'up = "Y"'), "both along Y"),
        (lambda text: text.replace('unit = "m"', 'unit = "cm"'), "no arm's"),
        (lambda text: text.replace("L.elbow", "L.knee"), "no elbow"),
        (lambda text: text.replace("L.elbow.y", "L.elbow.x"), "two columns are called"),
        (lambda text: text.replace("L.", "M_").replace("R.", "M_"), "no arms were found"),
        (lambda text: "\n".join(text.split("\n")[:6]) + "\n", "1 frame"),
        (lambda text: text + "1,2,3\n", "3 values where"),
        (lambda text: "\n".join([*text.split("\n")[:7], text.split("\n")[7].replace(".", "o", 1)]), "not a number"),
        (
            lambda text: "\n".join(
                [*text.split("\n")[:7], "inf" + text.split("\n")[7][text.split("\n")[7].index(",") :]]
            ),
            "beyond",
        ),
        (lambda text: "\n".join(line for line in text.split("\n")[:5]), "no frame"),
        (lambda text: "", "names of its columns"),
    ],
)
def test_a_table_that_can_not_be_studied_is_refused_in_one_sentence(rope: Made, change, message: str) -> None:
    with pytest.raises(MotionError, match=message) as caught:
        motion_of_csv(change(csv_of(parts_of(rope.motion))), "rope")
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("data", [b"", b"PK\x03\x04", b"not a table"])
def test_what_is_no_npz_is_refused(data: bytes) -> None:
    with pytest.raises(MotionError, match="is no \\.npz"):
        motion_of_npz(data, "rope")


def test_a_calibration_pose_in_front_is_left_out_and_said() -> None:
    made = planted_hand(60.0, 4, 0.0)
    arm = made.motion.arms[0]
    posed = {}
    turns = made.motion.torso[:30, :3, :3]
    for part, out in (("elbow", 0.336), ("wrist", 0.6), ("tip", 0.79)):
        points = getattr(arm, part).copy()
        points[:30] = arm.shoulder[:30] + turns @ np.array([out, 0.0, 0.0])
        posed[part] = points
    motion = prepared(replace(made.motion, arms=(replace(arm, **posed),)))
    assert motion.left_out == 30 and motion.frames == made.motion.frames - 30
    assert motion.notes == ("30 frames of a calibration pose in front are left out",)
    assert prepared(made.motion).left_out == 0


def test_a_bvh_gives_its_arms_in_metres_with_a_note_of_its_unit() -> None:
    motion = motion_of_bvh(read_bvh(EXCERPT.read_bytes()), "jumps")
    assert [arm.arm for arm in motion.arms] == ["L", "R"]
    assert motion.arms[0].length == pytest.approx((4.983 + 3.48356) * 0.0254 / 0.45, rel=1e-6)
    assert any("CMU Graphics Lab" in note for note in motion.notes)
    # Upright, in front of a camera: shoulders above the hips' frame, hands below them.
    assert (motion.arms[0].shoulder[:, 2] > motion.arms[0].wrist[:, 2]).mean() > 0.9


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (lambda text: text.replace("LeftHand", "LeftPaw").replace("RightHand", "RightPaw"), "no arms were found"),
        (lambda text: text.replace("RightArm", "LeftArm"), "second joint is called 'LeftArm'"),
        (lambda text: text.replace("Frames: 300", "Frames: 99999999999"), "frames, more than"),
        (lambda text: text.replace("Frame Time: 0.0416665", "Frame Time: 0"), "frame time"),
        (lambda text: "wren climbs", "not a BVH"),
    ],
)
def test_a_bvh_that_can_not_be_studied_is_refused_in_one_sentence(change, message: str) -> None:
    text = EXCERPT.read_text()
    assert change(text) != text
    with pytest.raises(MotionError, match=message):
        motion_of_bvh(read_bvh(change(text)), "jumps")


def test_a_unit_that_is_none_and_one_frame_are_refused() -> None:
    bvh = read_bvh(EXCERPT.read_bytes())
    with pytest.raises(MotionError, match="more than 0"):
        motion_of_bvh(bvh, "jumps", unit=0.0)
    with pytest.raises(MotionError, match="1 frame holds no motion"):
        motion_of_bvh(replace(bvh, frames=bvh.frames[:1]), "jumps")
