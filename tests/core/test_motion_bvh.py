"""BVH files: what is read, what is refused and how, and kinematics against scipy's rotations."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from armwright.core.errors import MotionError
from armwright.core.motion.bvh import (
    MAX_BYTES,
    MAX_JOINTS,
    Bvh,
    forward,
    local_rotations,
    local_translations,
    read_bvh,
)

EXCERPT = Path(__file__).parents[1] / "data" / "cmu_01_01_upper.bvh"

# A mast with a lamp on it: a root with an offset, a child with its own position channels, two rotation orders.
MAST = """HIERARCHY
ROOT mast
{
  OFFSET 1 2 3
  CHANNELS 6 Xposition Yposition Zposition Zrotation Xrotation Yrotation
  JOINT lamp arm
  {
    OFFSET 0 5 0
    CHANNELS 3 Yrotation Xrotation Zrotation
    JOINT lamp {
      OFFSET 2 0 0
      CHANNELS 4 Xposition Xrotation Yrotation Xrotation
      End Site
      {
        OFFSET 0 0 1
      }
    }
  }
}
MOTION
Frames: 2
Frame Time: 0.04
1 0 -1 10 20 30 40 50 60 2.5 15 25 35
0 0 0 -90 5 0.5e1 -.5 +7. 180 0 0 0 0
"""


def globals_of(bvh: Bvh) -> tuple[np.ndarray, np.ndarray]:
    return forward(bvh, local_rotations(bvh), local_translations(bvh))


def globals_by_scipy(bvh: Bvh) -> tuple[np.ndarray, np.ndarray]:
    """The same by another way: 4x4 matrices, frame by frame, with scipy's intrinsic Euler angles."""
    turned = np.zeros((len(bvh.frames), len(bvh.joints), 3, 3))
    placed = np.zeros((len(bvh.frames), len(bvh.joints), 3))
    for f, row in enumerate(bvh.frames):
        world: list[np.ndarray] = []
        for joint in bvh.joints:
            mine = dict(enumerate(joint.channels, joint.column))
            turns = [c for c in mine if mine[c].endswith("rotation")]
            local = np.eye(4)
            if turns:
                order = "".join(mine[c][0] for c in turns)
                local[:3, :3] = Rotation.from_euler(order, row[turns], degrees=True).as_matrix()
            local[:3, 3] = joint.offset
            for c, channel in mine.items():
                if channel.endswith("position"):
                    axis = "XYZ".index(channel[0])
                    local[axis, 3] = row[c] + (joint.offset[axis] if joint.parent == -1 else 0.0)
            world.append(local if joint.parent == -1 else world[joint.parent] @ local)
        turned[f] = np.array(world)[:, :3, :3]
        placed[f] = np.array(world)[:, :3, 3]
    return turned, placed


def test_a_file_is_read_as_it_is_written() -> None:
    bvh = read_bvh(MAST)
    assert [(j.name, j.parent, j.offset, j.column, j.end) for j in bvh.joints] == [
        ("mast", -1, (1.0, 2.0, 3.0), 0, None),
        ("lamp arm", 0, (0.0, 5.0, 0.0), 6, None),
        ("lamp", 1, (2.0, 0.0, 0.0), 9, (0.0, 0.0, 1.0)),
    ]
    assert bvh.joints[1].channels == ("Yrotation", "Xrotation", "Zrotation")
    assert bvh.frame_time == 0.04
    assert bvh.frames.tolist() == [
        [1, 0, -1, 10, 20, 30, 40, 50, 60, 2.5, 15, 25, 35],
        [0, 0, 0, -90, 5, 5, -0.5, 7, 180, 0, 0, 0, 0],
    ]
    assert not bvh.frames.flags.writeable


@pytest.mark.parametrize(
    "content",
    [
        MAST.encode(),
        b"\xef\xbb\xbf" + MAST.encode(),
        MAST.replace("\n", "\r\n").encode(),
        MAST.replace("\n", "\r"),
        MAST.replace("  ", "\t"),
        MAST.replace("ROOT mast\n{", "ROOT mast {").replace("OFFSET 0 0 1\n      }", "OFFSET 0 0 1 }"),
        MAST.lower().replace("\nroot", "\nRoot"),
        MAST.replace("Frames: 2", "Frames:\t2").replace("Frame Time: ", "\nFrame Time:"),
        "\n\n" + MAST + "\n \n",
        MAST.removesuffix("\n"),
    ],
    ids=["bytes", "mark", "crlf", "cr", "tabs", "braces", "case", "head", "blank lines", "no last line feed"],
)
def test_habits_of_other_exporters_are_read_alike(content: str | bytes) -> None:
    bvh, plain = read_bvh(content), read_bvh(MAST)
    assert bvh.joints == plain.joints
    assert np.array_equal(bvh.frames, plain.frames)


@pytest.mark.parametrize("source", ["mast", "excerpt"])
def test_kinematics_agree_with_scipy_rotations(source: str) -> None:
    bvh = read_bvh(MAST if source == "mast" else EXCERPT.read_bytes())
    turned, placed = globals_of(bvh)
    expected_turned, expected_placed = globals_by_scipy(bvh)
    assert np.abs(turned - expected_turned).max() < 1e-13
    assert np.abs(placed - expected_placed).max() < 1e-12


def test_bones_of_the_excerpt_keep_their_lengths() -> None:
    bvh = read_bvh(EXCERPT.read_bytes())
    _, placed = globals_of(bvh)
    for index, joint in enumerate(bvh.joints[1:], 1):
        lengths = np.linalg.norm(placed[:, index] - placed[:, joint.parent], axis=1)
        assert np.abs(lengths - np.linalg.norm(joint.offset)).max() < 1e-12


def test_the_excerpt_is_whole() -> None:
    bvh = read_bvh(EXCERPT.read_bytes())
    assert bvh.frames.shape == (300, 42)
    assert bvh.frame_time == pytest.approx(1.0 / 24.0, rel=1e-4)
    assert len(bvh.joints) == 13


def changed(old: str, new: str) -> str:
    assert MAST.count(old) == 1, f"{old!r} must be in the file once"
    return MAST.replace(old, new)


LAST = MAST.splitlines()[-1]

HOSTILE = {
    "empty": ("", "the BVH is empty"),
    "blank": (" \n\n", "the BVH is empty"),
    "another kind of file": ("solid mast\nfacet", "line 1: a BVH starts with HIERARCHY"),
    "an fbx": (b"Kaydara FBX Binary  \x00\x1a\x00", "line 1: a zero byte is not text"),
    "bytes that are no text": (MAST.encode().replace(b"lamp arm", b"lamp \xff\xfe"), "line 6: byte .* is not text"),
    "nul in a name": (changed("lamp arm", "lamp\0"), "line 6: a zero byte"),
    "cut in the hierarchy": (MAST[: MAST.index("End Site")], "ends inside its hierarchy.*cut short"),
    "cut in a word of the hierarchy": (MAST[: MAST.index("End Site") + 2], "line 13: 'En' is not expected"),
    "cut at MOTION": (MAST[: MAST.index("Frames:")], "line 20: the file ends before 'Frames.*no frame whole"),
    "cut at the frame time": (MAST[: MAST.index("Frame Time")], "line 21: the file ends before 'Frame Time"),
    "cut before the frames": (MAST[: MAST.index("1 0 -1")], "2 frames and 0 are whole"),
    "cut in the first frame": (MAST[: MAST.index("1 0 -1") + 9], "line 23: .*2 frames and 0 are whole"),
    "cut between frames": (MAST[: MAST.index(LAST)], "line 23: .*2 frames and 1 are whole"),
    "cut in a frame": (MAST[: MAST.index(LAST) + 9], "line 24: .*2 frames and 1 are whole.*'Frames: 1'"),
    "cut in a number": (MAST[: MAST.index("25 35") + 4], "2 frames and 0 are whole"),
    "no motion": (MAST[: MAST.index("MOTION")], "ends inside its hierarchy"),
    "too few values": (changed("15 25 35", "15 25"), "line 23: 12 values where the joints have 13"),
    "too many values": (changed("15 25 35", "15 25 35 45"), "line 23: 14 values"),
    "a word": (changed("2.5 15", "2.5 north"), "line 23: 'north' is not a number"),
    "nan": (changed("2.5 15", "nan 15"), "line 23: 'nan' is not a number"),
    "infinite": (changed("2.5 15", "2.5 -inf"), "line 23: '-inf' is not a number"),
    "overflowing": (changed("2.5 15", "2.5 1e999"), "line 23: '1e999' is not a number"),
    "absurd": (changed("2.5 15", "2.5 1e30"), "line 23: '1e30' is not a number"),
    "underscored": (changed("2.5 15", "2.5 1_5"), "line 23: '1_5' is not a number"),
    "decimal comma": (changed("2.5 15", "2,5 15"), "line 23: '2,5' is not a number"),
    "nan offset": (changed("OFFSET 0 5 0", "OFFSET 0 nan 0"), "line 8: 'nan' is not a number"),
    "short offset": (changed("OFFSET 0 5 0", "OFFSET 0 5"), "line 8: OFFSET has 2 values"),
    "two offsets": (changed("OFFSET 0 5 0", "OFFSET 0 5 0\nOFFSET 0 5 0"), "line 9: a second OFFSET"),
    "no offset": (changed("OFFSET 0 5 0", ""), "line 6: 'lamp arm' has no OFFSET"),
    "zero frames": (changed("Frames: 2", "Frames: 0"), "line 21: the file has no frames"),
    "negative frames": (changed("Frames: 2", "Frames: -2"), "line 21: '-2' is not a number of frames"),
    "fractional frames": (changed("Frames: 2", "Frames: 2.5"), "line 21: '2.5' is not a number of frames"),
    "absurd frames": (changed("Frames: 2", "Frames: 99999999999999999999"), "line 21: .* frames, more than"),
    "many frames": (changed("Frames: 2", "Frames: 1000001"), "line 21: 1000001 frames, more than"),
    "fewer frames than said": (changed("Frames: 2", "Frames: 900000"), "900000 frames and 2 are whole"),
    "more frames than said": (changed("Frames: 2", "Frames: 1"), "line 24: 2 frames where the file says 1"),
    "negative frame time": (changed("0.04", "-0.04"), "line 22: a frame time of -0.04 seconds"),
    "zero frame time": (changed("0.04", "0"), "line 22: a frame time of 0 seconds"),
    "nan frame time": (changed("0.04", "nan"), "line 22: 'nan' is not a number"),
    "no frame time": (changed("Frame Time: 0.04\n", ""), "line 22: 'Frame Time: <seconds>' is expected"),
    "unknown channel": (changed("Yrotation Xrotation Zrotation", "Yrotation Wrotation Zrotation"), "line 9: .*'Wrot"),
    "wrong channel count": (changed("CHANNELS 4", "CHANNELS 3"), "line 12: CHANNELS says '3' and lists 4"),
    "channel count no number": (changed("CHANNELS 4", "CHANNELS four"), "line 12: CHANNELS says 'four'"),
    "too many channels": (changed("CHANNELS 4", "CHANNELS 7 Zposition Zposition Zposition"), "line 12: 7 channels"),
    "channels twice": (changed("OFFSET 2 0 0", "OFFSET 2 0 0\nCHANNELS 1 Xrotation"), "line 13: 'lamp' already has"),
    "brace missing": (changed("    }\n  }\n}", "    }\n}"), "line 19: 1 closing braces are missing before MOTION"),
    "brace too many": (changed("    }\n  }\n}", "    }\n  }\n}\n}"), "line 20: a closing brace too many"),
    "opening brace missing": (changed("End Site\n      {", "End Site"), "line 14: an opening brace is missing"),
    "opening brace of nothing": (changed("MOTION", "{\nMOTION"), "line 20: an opening brace that belongs to no"),
    "joint outside": (changed("ROOT mast", "JOINT mast"), "line 2: JOINT outside any joint"),
    "root inside": (changed("JOINT lamp arm", "ROOT lamp arm"), "line 6: ROOT inside a joint"),
    "joint in an end": (changed("OFFSET 0 0 1", "JOINT wick"), "line 15: an End Site can hold no JOINT"),
    "channels in an end": (changed("OFFSET 0 0 1", "CHANNELS 1 Xrotation"), "line 15: "),
    "same name": (changed("JOINT lamp {", "JOINT mast {"), "line 10: a second joint is called 'mast'"),
    "no name": (changed("JOINT lamp {", "JOINT {"), "line 10: a joint without a name"),
    "stray words": (changed("OFFSET 0 5 0", "SCALE 0 5 0"), "line 8: 'SCALE' is not expected"),
    "no hierarchy": ("HIERARCHY\nMOTION\nFrames: 1\nFrame Time: 1\n1\n", "line 2: MOTION comes before any ROOT"),
    "no channels": (
        "HIERARCHY\nROOT a\n{\nOFFSET 0 0 0\n}\nMOTION\nFrames: 1\nFrame Time: 1\n",
        "have no channels",
    ),
    "absurdly many joints": (
        "HIERARCHY\n" + "".join(f"ROOT j{i}\n{{\nOFFSET 0 0 0\n}}\n" for i in range(MAX_JOINTS + 1)),
        f"more than {MAX_JOINTS} joints",
    ),
    "absurdly deep": ("HIERARCHY\n" + "".join(f"JOINT j{i}\n{{\n" for i in range(9)), "line 2: JOINT outside"),
}


@pytest.mark.parametrize("case", HOSTILE)
def test_a_bad_file_is_refused_with_its_line_and_what_to_do(case: str) -> None:
    content, message = HOSTILE[case]
    with pytest.raises(MotionError, match=message):
        read_bvh(content)


def test_a_file_of_absurd_size_is_refused_before_it_is_read() -> None:
    with pytest.raises(MotionError, match="cut it into shorter takes"):
        read_bvh(b"\xff" * (MAX_BYTES + 1))


def test_every_cut_of_a_file_is_refused_or_loses_only_white_space_or_digits_at_its_end() -> None:
    whole = read_bvh(MAST)
    refused = 0
    for length in range(len(MAST)):
        try:
            bvh = read_bvh(MAST[:length])
        except MotionError:
            refused += 1
            continue
        # A file whose last number is cut can not be told from a shorter number; all else is as written.
        assert bvh.frames.shape == whole.frames.shape
        assert np.array_equal(bvh.frames.ravel()[:-1], whole.frames.ravel()[:-1])
    assert refused >= len(MAST) - 2


@pytest.mark.parametrize("seed", range(4))
def test_a_damaged_file_is_read_or_refused_and_nothing_else(seed: int) -> None:
    rng = np.random.default_rng(seed)
    words = [
        b"{",
        b"}",
        b"nan",
        b"-",
        b"\n",
        b"\0",
        b"\xff",
        b"MOTION",
        b"End Site",
        b"JOINT",
        b"9e9",
        "\u0663".encode(),
        b" ",
    ]
    refused = 0
    for _ in range(500):
        data = bytearray(MAST.encode())
        for _ in range(rng.integers(1, 4)):
            at, cut = int(rng.integers(len(data))), int(rng.integers(0, 12))
            data[at : at + cut] = words[int(rng.integers(len(words)))]
        try:
            bvh = read_bvh(bytes(data))
        except MotionError as error:
            refused += 1
            assert str(error)
            continue
        turned, placed = globals_of(bvh)
        assert np.isfinite(turned).all() and np.isfinite(placed).all()
    assert 0 < refused < 500


def test_a_chain_of_many_joints_is_read_without_recursion() -> None:
    depth = MAX_JOINTS
    head = "".join(f"{'JOINT' if i else 'ROOT'} j{i}\n{{\nOFFSET 0 1 0\nCHANNELS 1 Xrotation\n" for i in range(depth))
    text = f"HIERARCHY\n{head}" + "}\n" * depth + "MOTION\nFrames: 1\nFrame Time: 1\n" + "0 " * depth + "\n"
    bvh = read_bvh(text)
    _, placed = globals_of(bvh)
    assert placed[0, -1].tolist() == [0.0, float(depth), 0.0]


def test_a_joint_that_is_not_there_is_answered_with_those_that_are() -> None:
    with pytest.raises(MotionError, match=r"no joint 'sail'.*mast, lamp arm, lamp"):
        read_bvh(MAST).index("sail")
