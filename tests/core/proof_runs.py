"""Wren with five fingers a hand, and runs of a proof as the reference solver has them, for the tests of the proof."""

from __future__ import annotations

import numpy as np

from armwright.core.hand_proportions import with_hands
from armwright.core.proof.run_plan import RunSpec, planned_runs, standard_motions
from armwright.core.proof.run_settings import settings_for
from armwright.core.proof.samples import ArmRun
from armwright.core.proof.synthetic import guide_geometry, solved_fingers, solved_samples, torso_poses
from armwright.core.stature import guide_from_stature

WREN = with_hands(guide_from_stature(1.7, "Wren"))
RUNS = planned_runs(standard_motions())
SIZE = 0.332 * 1.7  # Winter, fig. 4.1: upper arm and forearm over stature


def run_of(spec: RunSpec, arm: str = "L") -> ArmRun:
    """A run without a fault, of one arm."""
    geometry = guide_geometry(WREN, arm)
    torso = torso_poses(WREN, spec.clip, geometry.upper_length + geometry.forearm_length)
    settings = settings_for(spec, arm, geometry, torso, np.broadcast_to(np.eye(4), torso.shape))
    samples = solved_samples(geometry, settings)
    return ArmRun(arm, spec.motion, spec.case, geometry, settings, samples, solved_fingers(WREN, arm, samples.hand))
