"""The closed-form arm against MuJoCo's forward kinematics (double precision), which shares no code with it.

Source of the check: MuJoCo, `mj_kinematics`. Only forward kinematics: an iterative inverse one may land on the elbow's
mirrored side.
"""

from __future__ import annotations

from dataclasses import replace

import mujoco
import numpy as np
import pytest
from arm_cases import arm, assert_close, mirrored_arm, moved, picked, random_settings, random_turns
from scipy.spatial.transform import Rotation

from armwright.core.solve.arm import solve
from armwright.core.solve.rest import rest_settings
from armwright.core.solve.settings import ArmGeometry, ArmPose, ArmSettings

SEED = 20240505
COUNT = 200
METRES = 1e-12
ARMS = {"A-pose-left": arm(45.0), "A-pose-right": mirrored_arm(arm(45.0)), "T-pose-left": arm(0.0)}
SEGMENTS = ("clavicle", "upper_arm", "forearm", "hand")


@pytest.fixture(params=ARMS.values(), ids=ARMS.keys())
def geometry(request: pytest.FixtureRequest) -> ArmGeometry:
    return request.param


@pytest.fixture
def rng() -> np.random.Generator:
    print("seed", SEED)
    return np.random.default_rng(SEED)


def quat(matrix: np.ndarray) -> np.ndarray:
    return np.roll(Rotation.from_matrix(matrix).as_quat(), 1)


def text(values: np.ndarray) -> str:
    return " ".join(repr(float(value)) for value in values)


def model_of(geometry: ArmGeometry, joints: dict[str, str]) -> mujoco.MjModel:
    """The limb as nested bodies: a free torso, the four bones at rest, a slide along each segment for its length.

    `joints` names each bone's joints as MJCF. A body's first joint turns the ones after it, so that hinges are listed
    in the opposite of the order in which the host applies an Euler order's letters.
    """
    frames = {name: getattr(geometry, name) for name in ("torso", *SEGMENTS)}
    above = dict(zip(SEGMENTS, ("torso", *SEGMENTS[:-1]), strict=True))
    slide = '<joint type="slide" axis="{}" name="{}"/>'
    inertia = '<inertial pos="0 0 0" mass="1" diaginertia="1 1 1"/>'
    inside = ""
    for name in reversed(SEGMENTS):
        local = np.linalg.inv(frames[above[name]]) @ frames[name]
        lengthen = ""
        if name in ("forearm", "hand"):
            # The joint sits at the tail of the bone above; the slide runs along that bone, from its head.
            axis = local[:3, :3].T @ np.array([0.0, 1.0, 0.0])
            lengthen = slide.format(text(axis), f"{above[name]}_length")
            local = local.copy()
            local[:3, 3] = 0.0
        inside = (
            f'<body name="{name}" pos="{text(local[:3, 3])}" quat="{text(quat(local[:3, :3]))}">'
            f"{inertia}{lengthen}{joints[name]}{inside}</body>"
        )
    return mujoco.MjModel.from_xml_string(
        f'<mujoco><compiler angle="radian"/><worldbody><body name="torso">{inertia}<freejoint name="torso"/>'
        f"{inside}</body></worldbody></mujoco>"
    )


def joint_place(model: mujoco.MjModel, name: str) -> int:
    return int(model.jnt_qposadr[model.joint(name).id])


def hinges(name: str, order: str) -> str:
    axes = {"X": "1 0 0", "Y": "0 1 0", "Z": "0 0 1"}
    return "".join(f'<joint type="hinge" axis="{axes[axis]}" name="{name}_{axis}"/>' for axis in reversed(order))


def ball(name: str) -> str:
    return f'<joint type="ball" name="{name}_ball"/>'


def place_torso(model: mujoco.MjModel, data: mujoco.MjData, torso: np.ndarray) -> None:
    start = joint_place(model, "torso")
    data.qpos[start : start + 3] = torso[:3, 3]
    data.qpos[start + 3 : start + 7] = quat(torso[:3, :3])


def assert_places(model: mujoco.MjModel, data: mujoco.MjData, pose: ArmPose, index: int) -> None:
    mujoco.mj_kinematics(model, data)
    for body, place in (("upper_arm", "shoulder"), ("forearm", "elbow"), ("hand", "wrist")):
        assert_close(data.body(body).xpos, getattr(pose, place)[index], atol=METRES, err_msg=f"{place}, pose {index}")
    for body in ("upper_arm", "forearm", "hand"):
        expected = getattr(pose, body)[index]
        assert_close(data.body(body).xmat.reshape(3, 3), expected, atol=1e-12, err_msg=f"{body}, pose {index}")


def test_fk_channels_lead_to_mujoco_s_hinges(geometry: ArmGeometry, rng: np.random.Generator) -> None:
    """From channels and length dials alone: MuJoCo never sees an orientation that the solver made."""
    drawn = random_settings(rng, geometry, COUNT)
    none = np.zeros(COUNT)
    settings = replace(drawn, ik=none, elbow=none, isolate=none, lift=none)
    pose = solve(geometry, settings)
    orders = dict(zip(SEGMENTS, geometry.rotation_orders, strict=True))
    model = model_of(geometry, {name: hinges(name, orders[name]) for name in SEGMENTS})
    data = mujoco.MjData(model)
    for index in range(COUNT):
        one = picked(settings, index)
        place_torso(model, data, one.torso)
        for name in SEGMENTS:
            for axis, angle in zip("XYZ", getattr(one, name), strict=True):
                data.qpos[joint_place(model, f"{name}_{axis}")] = angle
        data.qpos[joint_place(model, "upper_arm_length")] = one.upper_length * geometry.upper_length
        data.qpos[joint_place(model, "forearm_length")] = one.forearm_length * geometry.forearm_length
        assert_places(model, data, pose, index)


def test_any_mode_s_orientations_and_lengths_chain_up_to_its_joints(
    geometry: ArmGeometry, rng: np.random.Generator
) -> None:
    """All dials at random: the bones hang together, and the joints are where their orientations lead."""
    settings = random_settings(rng, geometry, COUNT)
    pose = solve(geometry, settings)
    model = model_of(geometry, {name: ball(name) for name in SEGMENTS})
    data = mujoco.MjData(model)
    above = {"clavicle": None, "upper_arm": "clavicle", "forearm": "upper_arm", "hand": "forearm"}
    for index in range(COUNT):
        torso = settings.torso[index]
        place_torso(model, data, torso)
        for name in SEGMENTS:
            parent = above[name]
            frame = torso[:3, :3] if parent is None else getattr(pose, parent)[index]
            rest = (geometry.torso if parent is None else getattr(geometry, parent))[:3, :3]
            local_rest = rest.T @ getattr(geometry, name)[:3, :3]
            start = joint_place(model, f"{name}_ball")
            data.qpos[start : start + 4] = quat(local_rest.T @ frame.T @ getattr(pose, name)[index])
        data.qpos[joint_place(model, "upper_arm_length")] = pose.upper_factor[index] * geometry.upper_length
        data.qpos[joint_place(model, "forearm_length")] = pose.forearm_factor[index] * geometry.forearm_length
        assert_places(model, data, pose, index)


def in_reach(rng: np.random.Generator, geometry: ArmGeometry) -> ArmSettings:
    rest = rest_settings(geometry, COUNT)
    length = geometry.upper_length + geometry.forearm_length
    torso = moved(geometry.torso, random_turns(rng, COUNT, 1.0), rng.uniform(-0.2, 0.2, (COUNT, 3)))
    shoulder = (torso @ np.linalg.inv(geometry.torso) @ geometry.upper_arm)[:, :3, 3]
    hold = moved(geometry.hand, random_turns(rng, COUNT), np.zeros((COUNT, 3)))
    hold[:, :3, 3] = shoulder + random_turns(rng, COUNT)[:, :, 0] * (rng.uniform(0.3, 0.95, COUNT) * length)[:, None]
    aim = shoulder + random_turns(rng, COUNT)[:, :, 0] * 2.0 * length
    return replace(rest, torso=torso, hand_hold=hold, aim=aim, ik=np.ones(COUNT))


def test_mujoco_s_hinged_elbow_carries_the_hand_to_its_hold(geometry: ArmGeometry, rng: np.random.Generator) -> None:
    """The elbow is one hinge whose angle comes from the law of cosines, not from the solver's forearm."""
    settings = in_reach(rng, geometry)
    pose = solve(geometry, settings)
    joints = {"clavicle": "", "upper_arm": ball("upper_arm"), "forearm": "", "hand": ball("hand")}
    joints["forearm"] = '<joint type="hinge" axis="1 0 0" name="bend"/>'
    model = model_of(geometry, joints)
    data = mujoco.MjData(model)
    a, b = geometry.upper_length, geometry.forearm_length
    rest_bend = np.arccos(np.clip(geometry.upper_arm[:3, 1] @ geometry.forearm[:3, 1], -1.0, 1.0))
    for index in range(COUNT):
        torso, hold = settings.torso[index], settings.hand_hold[index]
        place_torso(model, data, torso)
        clavicle = torso[:3, :3] @ geometry.torso[:3, :3].T
        carried = clavicle @ geometry.upper_arm[:3, :3]
        start = joint_place(model, "upper_arm_ball")
        data.qpos[start : start + 4] = quat(carried.T @ pose.upper_arm[index])
        far = np.linalg.norm(hold[:3, 3] - pose.shoulder[index])
        bend = np.pi - np.arccos((a * a + b * b - far * far) / (2.0 * a * b))
        data.qpos[joint_place(model, "bend")] = bend - rest_bend
        data.qpos[joint_place(model, "upper_arm_length")] = a
        data.qpos[joint_place(model, "forearm_length")] = b
        mujoco.mj_kinematics(model, data)
        assert_close(data.body("upper_arm").xpos, pose.shoulder[index], atol=METRES)
        assert_close(data.body("forearm").xpos, pose.elbow[index], atol=METRES)
        assert_close(data.body("hand").xpos, hold[:3, 3], atol=METRES, err_msg=f"pose {index}")
