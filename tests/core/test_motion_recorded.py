"""Recorded motion: axes, facing, travel, resampling and refusals; turns checked against scipy's rotations."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation, Slerp

from armwright.core.errors import MotionError
from armwright.core.motion.bvh import Bvh, read_bvh
from armwright.core.motion.clip import Clip, compose
from armwright.core.motion.recorded import recorded_clip

EXCERPT = Path(__file__).parents[1] / "data" / "cmu_01_01_upper.bvh"
# BVH: X left, Y up, Z front. Character: X left, Z up, -Y front.
TO_CHARACTER = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]])
UP, FRONT, LEFT = np.array([0.0, 0, 1]), np.array([0.0, -1, 0]), np.array([1.0, 0, 0])

ARM_LENGTH = 5.0  # of the keeper below: 3 and 2
CHANNELS = ("hips", "back", "chest", "shoulder")


def keeper(frame_time: float = 0.1, scale: float = 1.0, **tracks: np.ndarray) -> Bvh:
    """A keeper with three torso joints, a clavicle and a left arm. Tracks: `place` (F, 3); `hips`, `back`, `chest`,
    `shoulder` (F, 3) degrees, in the channels' order Y, X, Z."""
    count = len(next(iter(tracks.values())))
    parts = [tracks.get("place", np.zeros((count, 3))) * scale]
    parts += [tracks.get(name, np.zeros((count, 3))) for name in CHANNELS]
    rows = "\n".join(" ".join(f"{v:.9f}" for v in row) for row in np.concatenate(parts, axis=1))
    turn = "Yrotation Xrotation Zrotation"

    def joint(kind: str, name: str, offset: tuple[float, float, float], channels: str, inside: str) -> str:
        x, y, z = (scale * v for v in offset)
        return f"{kind} {name}\n{{\nOFFSET {x} {y} {z}\n{channels}{inside}}}\n"

    tip = joint("JOINT", "LeftHand", (2, 0, 0), "", f"End Site\n{{\nOFFSET {scale} 0 0\n}}\n")
    arm = joint("JOINT", "LeftArm", (2, 0, 0), "", joint("JOINT", "LeftForeArm", (3, 0, 0), "", tip))
    shoulder = joint("JOINT", "LeftShoulder", (0, 0, 0), f"CHANNELS 3 {turn}\n", arm)
    chest = joint("JOINT", "Chest", (0, 2, 0), f"CHANNELS 3 {turn}\n", shoulder)
    back = joint("JOINT", "Back", (0, 2, 0), f"CHANNELS 3 {turn}\n", chest)
    hips = joint("ROOT", "Hips", (0, 0, 0), f"CHANNELS 6 Xposition Yposition Zposition {turn}\n", back)
    return read_bvh(f"HIERARCHY\n{hips}MOTION\nFrames: {count}\nFrame Time: {frame_time}\n{rows}\n")


TORSO = ("Hips", "Back", "Chest")


def drawn(seed: int) -> np.random.Generator:
    print(f"seed {seed}")
    return np.random.default_rng(seed)


def clip_of(bvh: Bvh, **settings: object) -> Clip:
    return recorded_clip(bvh, TORSO, None, 1.0 / bvh.frame_time, **settings)  # type: ignore[arg-type]


def heading(turns: np.ndarray) -> np.ndarray:
    """Twist about up, degrees, from scipy's quaternions (x, y, z, w)."""
    quats = Rotation.from_matrix(turns).as_quat()
    return np.degrees(np.unwrap(2.0 * np.arctan2(quats[:, 2], quats[:, 3])))


@pytest.mark.parametrize(
    ("angles", "point", "towards"),
    [
        ((0, 20, 0), UP, FRONT),  # about BVH X: the head goes to the front
        ((0, 0, -20), UP, LEFT),  # about BVH -Z: the head goes to the left
        ((20, 0, 0), FRONT, LEFT),  # about BVH Y: the front goes to the left
    ],
)
@pytest.mark.parametrize("joint", ["back", "chest"])
def test_a_lean_in_the_file_is_the_same_lean_of_the_character(
    joint: str, angles: tuple[float, float, float], point: np.ndarray, towards: np.ndarray
) -> None:
    clip = clip_of(keeper(**{joint: np.array([angles, angles], float)}))
    moved = compose(clip)[0] @ point
    assert moved @ towards == pytest.approx(np.sin(np.radians(20.0)), abs=1e-9)
    assert np.array_equal(clip.torso[0, 0], np.eye(3))
    assert not np.allclose(clip.torso[0, TORSO.index(joint.capitalize())], np.eye(3))


def test_the_excerpts_torso_turns_as_scipy_says() -> None:
    bvh = read_bvh(EXCERPT.read_bytes())
    clip = recorded_clip(bvh, frames=None, fps=1.0 / bvh.frame_time)
    totals = []
    for row in bvh.frames:
        total = Rotation.identity()
        for name in ("Hips", "LowerBack", "Spine", "Spine1"):
            joint = bvh.joints[bvh.index(name)]
            first = joint.column + len(joint.channels) - 3
            total = total * Rotation.from_euler("ZYX", row[first : first + 3], degrees=True)
        totals.append(TO_CHARACTER @ total.as_matrix() @ TO_CHARACTER.T)
    hips = bvh.joints[bvh.index("Hips")].column + 3
    first = Rotation.from_euler("ZYX", bvh.frames[0, hips : hips + 3], degrees=True).as_matrix()
    yaw = heading((TO_CHARACTER @ first @ TO_CHARACTER.T)[None])[0]
    expected = Rotation.from_euler("z", -yaw, degrees=True).as_matrix() @ np.array(totals)
    assert clip.torso.shape == (300, 3, 3, 3)
    assert np.abs(compose(clip) - expected).max() < 1e-12


def test_joints_left_out_of_the_torso_keep_their_turn() -> None:
    rng = drawn(3)
    bvh = keeper(**{name: rng.uniform(-20, 20, (6, 3)) for name in CHANNELS})
    totals = [
        compose(recorded_clip(bvh, names, 6, 10.0)) for names in (TORSO, ("Hips",), ("Hips", "Chest"), ("Hips", "Back"))
    ]
    for total in totals[1:]:
        assert np.abs(total - totals[0]).max() < 1e-12


@pytest.mark.parametrize("yaw", [-170.0, -90.0, 35.0, 180.0])
def test_the_character_starts_facing_front_whichever_way_the_recording_faces(yaw: float) -> None:
    rng = drawn(4)
    hips, place = rng.uniform(-15, 15, (40, 3)), rng.uniform(-1, 1, (40, 3))
    plain = clip_of(keeper(hips=hips, place=place))
    # Y is the first of the hips' channels, so that adding to it turns the whole recording about up.
    turned_place = Rotation.from_euler("y", yaw, degrees=True).apply(place)
    turned = clip_of(keeper(hips=hips + np.array([yaw, 0.0, 0.0]), place=turned_place))
    assert abs(heading(plain.torso[:, 0])[0]) < 1e-9
    # The tolerance is that of the nine decimals in which the file is written.
    assert np.abs(turned.torso - plain.torso).max() < 1e-8
    assert np.abs(turned.travel - plain.travel).max() < 1e-8


def test_the_excerpt_starts_facing_front_and_turns_round() -> None:
    clip = recorded_clip(read_bvh(EXCERPT.read_bytes()))
    angles = heading(clip.torso[:, 0])
    assert (clip.frames, clip.name) == (240, "recorded")
    assert abs(angles[0]) < 1e-9
    assert 150.0 < np.abs(angles).max() < 210.0


def test_following_a_turn_keeps_who_turns_round_facing_front() -> None:
    bvh = read_bvh(EXCERPT.read_bytes())
    angles = heading(recorded_clip(bvh, follow_turn=True).torso[:, 0])
    assert abs(angles[0]) < 1e-9
    assert np.abs(angles).max() < 75.0


def test_travel_is_in_units_of_the_arm_and_in_character_axes() -> None:
    place = np.array([[0.0, 0.0, 0.0], [1.0, 2.0, 3.0]]) * ARM_LENGTH
    clip = clip_of(keeper(place=place), follow=None)
    assert np.abs(clip.travel - [[0, 0, 0], [1.0, -3.0, 2.0]]).max() < 1e-9


def test_the_size_of_the_recorded_person_does_not_matter() -> None:
    rng = drawn(5)
    tracks = {"place": rng.uniform(-1, 1, (30, 3)), "hips": rng.uniform(-15, 15, (30, 3))}
    small, large = clip_of(keeper(**tracks)), clip_of(keeper(scale=100.0, **tracks))
    assert np.abs(small.travel - large.travel).max() < 1e-8


def test_a_steady_walk_stays_in_place_and_its_sway_stays_in_it() -> None:
    time = np.arange(100) * 0.1
    walk = np.stack([0.2 * np.sin(2 * np.pi * time), 0.1 * np.cos(4 * np.pi * time), 3.0 * time], axis=1)
    kept = clip_of(keeper(place=walk), follow=None).travel * ARM_LENGTH
    followed = clip_of(keeper(place=walk)).travel * ARM_LENGTH
    assert kept[-1, 1] == pytest.approx(-3.0 * time[-1])
    assert np.abs(followed[:, 1]).max() < 1e-7
    assert np.abs(followed[:, 2] - (walk[:, 1] - walk[0, 1])).max() < 1e-7
    # Two whole sways lie in the window but for the one frame that makes it odd.
    middle = slice(10, 90)
    assert np.abs(followed[middle, 0] - walk[middle, 0]).max() < 0.2 / 21 + 1e-9
    assert not followed[0].any()


def test_the_excerpt_jumps_in_place() -> None:
    bvh = read_bvh(EXCERPT.read_bytes())
    kept, followed = recorded_clip(bvh, follow=None).travel, recorded_clip(bvh).travel
    assert np.linalg.norm(kept[:, :2], axis=1).max() > 5.0
    assert np.linalg.norm(followed[:, :2], axis=1).max() < 1.0
    assert np.array_equal(kept[:, 2], followed[:, 2])
    assert np.ptp(kept[:, 2]) > 0.5


def test_limited_travel_keeps_its_shape() -> None:
    bvh = read_bvh(EXCERPT.read_bytes())
    free, limited = recorded_clip(bvh).travel, recorded_clip(bvh, limit_travel=0.15).travel
    furthest = np.linalg.norm(free, axis=1).max()
    assert furthest > 0.15
    assert np.linalg.norm(limited, axis=1).max() == pytest.approx(0.15)
    assert np.abs(limited - free * 0.15 / furthest).max() < 1e-12
    assert np.abs(recorded_clip(bvh, limit_travel=99.0).travel - free).max() < 1e-14


def test_frames_between_recorded_ones_are_slerped() -> None:
    angles = np.array([[0.0, 0, 0], [10, 60, 20], [-80, 10, 5], [20, 20, 20]])
    clip = recorded_clip(keeper(back=angles, frame_time=0.3), TORSO, 10, 10.0)
    turns = Rotation.from_euler("YXZ", angles, degrees=True)
    expected = Slerp(np.arange(4) * 0.3, turns)(np.minimum(np.arange(10) / 10.0, 3 * 0.3)).as_matrix()
    assert np.abs(clip.torso[:, 1] - TO_CHARACTER @ expected @ TO_CHARACTER.T).max() < 1e-12


def test_positions_between_recorded_ones_are_on_the_straight_line() -> None:
    place = np.array([[0.0, 0, 0], [0, 5, 0], [0, 0, 0]])
    clip = recorded_clip(keeper(place=place, frame_time=0.2), TORSO, None, 20.0)
    assert np.abs(clip.travel[:, 2] - [0, 0.25, 0.5, 0.75, 1, 0.75, 0.5, 0.25, 0]).max() < 1e-9


def test_a_later_start_is_the_new_beginning() -> None:
    place = np.array([[0.0, 0, 0], [0, 5, 0], [0, 15, 0]])
    clip = recorded_clip(
        keeper(place=place, hips=np.array([[0.0, 0, 0], [90, 0, 0], [95, 0, 0]])), TORSO, None, 10.0, 0.1
    )
    assert clip.frames == 2
    assert np.abs(clip.travel - [[0, 0, 0], [0, 0, 2]]).max() < 1e-9
    assert np.abs(heading(clip.torso[:, 0]) - [0.0, 5.0]).max() < 1e-6


def test_all_of_the_excerpt_fits_at_its_own_rate_and_a_single_frame_is_a_clip() -> None:
    bvh = read_bvh(EXCERPT.read_bytes())
    assert recorded_clip(bvh, frames=300, fps=24.0).frames == 300
    assert recorded_clip(bvh, frames=None).frames == 300
    one = recorded_clip(keeper(hips=np.zeros((1, 3))), TORSO, None)
    assert one.frames == 1 and not one.travel.any()


@pytest.mark.parametrize(
    ("angles", "channels"),
    [
        ((0, 0, 25), (25, 0, 0)),  # about BVH Z, the front: the left shoulder rises
        ((15, 0, 0), (0, 0, 15)),  # about BVH Y, up: the left shoulder goes backward
        ((0, 10, 0), (0, 10, 0)),  # about BVH X, the left: it rolls
    ],
)
def test_the_clavicle_raises_and_goes_backward_by_its_channels(
    angles: tuple[float, float, float], channels: tuple[float, float, float]
) -> None:
    bvh = keeper(shoulder=np.array([angles], float), hips=np.array([[70.0, 5, 3]]))
    assert np.abs(np.degrees(clip_of(bvh).clavicle) - channels).max() < 1e-6
    assert not clip_of(bvh, clavicle_joint=None).clavicle.any()


def test_the_clavicles_channels_make_its_turn_again() -> None:
    rng = drawn(6)
    angles = rng.uniform(-40, 40, (50, 3))
    clip = clip_of(keeper(shoulder=angles))
    rest = np.array([[0.0, 1, 0], [-1, 0, 0], [0, 0, 1]])  # columns: X front, Y left, Z up
    local = Rotation.from_euler("xyz", clip.clavicle).as_matrix()
    expected = TO_CHARACTER @ Rotation.from_euler("YXZ", angles, degrees=True).as_matrix() @ TO_CHARACTER.T
    assert np.abs(rest @ local @ rest.T - expected).max() < 1e-9


def test_the_same_recording_gives_the_same_clip() -> None:
    # Not the same bytes: the linear algebra library adds in another order where memory lies otherwise.
    one, two = (recorded_clip(read_bvh(EXCERPT.read_bytes())) for _ in range(2))
    assert np.abs(one.torso - two.torso).max() < 1e-14
    assert np.abs(one.travel - two.travel).max() < 1e-14


@pytest.mark.parametrize(
    ("settings", "message"),
    [
        ({"torso_joints": ("Hips", "Keel")}, "no joint 'Keel'.*Hips, Back, Chest, LeftShoulder, LeftArm"),
        ({"torso_joints": ()}, "no torso joints"),
        ({"torso_joints": ("Chest", "Hips")}, "'Hips' does not hang from 'Chest'"),
        ({"torso_joints": ("Hips", "Hips")}, "'Hips' does not hang from 'Hips'"),
        ({"torso_joints": ("Hips", "LeftArm")}, "'LeftShoulder' does not hang from 'LeftArm'"),
        ({"clavicle_joint": "Boom"}, "no joint 'Boom'"),
        ({"arm_joints": ("LeftArm", "LeftHand")}, "2 arm joints; name three"),
        ({"arm_joints": ("LeftArm", "LeftForeArm", "Hook")}, "no joint 'Hook'"),
        ({"arm_joints": ("LeftForeArm", "LeftArm", "LeftHand")}, "'LeftArm' does not hang from 'LeftForeArm'"),
        ({"arm_joints": ("LeftArm", "LeftArm", "LeftArm")}, "has no length"),
        ({"frames": 0}, "0 frames; give 1 or more"),
        ({"frames": 12}, "12 frames at 10 a second from 0 s do not fit.*1.000 s.*11 frames at most"),
        ({"start": 1.01}, "start at 1.01 s; the recording runs from 0 to 1.000 s"),
        ({"start": -0.1}, "start at -0.1 s"),
        ({"start": float("nan")}, "start at nan s"),
        ({"fps": 0.0}, "0.0 frames a second"),
        ({"fps": float("nan")}, "nan frames a second"),
        ({"follow": 0.0}, "drift averaged over 0.0 s"),
        ({"limit_travel": -1.0}, "travel limited to -1.0 L"),
        ({"name": ""}, "needs a name"),
    ],
)
def test_what_can_not_be_used_is_refused_with_what_to_do(settings: dict[str, object], message: str) -> None:
    bvh = keeper(hips=np.zeros((11, 3)))
    with pytest.raises(MotionError, match=message):
        recorded_clip(bvh, **({"torso_joints": TORSO, "frames": 5, "fps": 10.0} | settings))  # type: ignore[arg-type]
