"""`swing`: each FK joint turns by exactly what its channels say, against what carries it."""

from __future__ import annotations

from ..rotations import euler_to_matrix
from .isolate import wanted_upper_arm
from .measures import TURN_LIMIT, Measured, carried, clavicle_control, drift, held_arm, turn
from .run_plan import RunSpec
from .samples import ArmRun

ID = "swing"
# With a held elbow the upper arm points where the hold is; forearm and hand are FK still.
MODES: tuple[str, ...] = ("none", "elbow")
LIMITS = {"clavicle": TURN_LIMIT, "upper-arm": TURN_LIMIT, "forearm": TURN_LIMIT, "hand": TURN_LIMIT}


def applies(spec: RunSpec) -> bool:
    """Whether `measure` has something to say about a run."""
    return ID in spec.requirements and spec.case.mode in MODES


def measure(run: ArmRun) -> tuple[Measured, ...]:
    """Rotation error of each joint, degrees; of forearm and hand against the joint above as the host showed it."""
    geometry, settings, samples = run.geometry, run.settings, run.samples
    clavicle = drift("clavicle", turn(samples.fk_clavicle), clavicle_control(run))
    hand = carried(samples.forearm, geometry.forearm, geometry.hand) @ euler_to_matrix(
        settings.hand, geometry.rotation_orders[3]
    )
    wrist = drift("hand", turn(samples.hand), hand)
    if run.case.mode == "elbow":
        return clavicle, drift("forearm", turn(samples.forearm), held_arm(run)[0]), wrist
    forearm = carried(samples.upper_arm, geometry.upper_arm, geometry.forearm) @ euler_to_matrix(
        settings.forearm, geometry.rotation_orders[2]
    )
    return (
        clavicle,
        drift("upper-arm", turn(samples.upper_arm), wanted_upper_arm(run)),
        drift("forearm", turn(samples.forearm), forearm),
        wrist,
    )
