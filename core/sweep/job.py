"""What a sweep works on, cut into shards that do not depend on who works on them."""

from __future__ import annotations

import dataclasses
import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from ..arm.build import plan_arms
from ..errors import ProofError
from ..guide import Guide
from ..options import ArmOptions
from ..plan import json as plan_json
from ..proof.synthetic import guide_geometry
from ..solve.settings import ArmGeometry
from .space import AXES

# Poses of a shard: a second's work or less, and a few tens of megabytes.
SHARD = 4096
MOST_POSES = 1_000_000_000
LARGEST_SEED = 2**53
# Of a local search: after so many the value grows by little.
ROUNDS, MOST_ROUNDS = 40, 10_000


@dataclass(frozen=True, eq=False)
class Job:
    """Attributes:
    rig: the character's name.
    plan_digest: of the plan that the rig is built from.
    arms: (arm, geometry); pose number n is one of arm n modulo their count.
    seed: of the sequence.
    poses: how many.
    rounds: most of a local search; 0 for none.
    """

    rig: str
    plan_digest: str
    arms: tuple[tuple[str, ArmGeometry], ...]
    seed: int
    poses: int
    rounds: int = ROUNDS

    @property
    def shards(self) -> int:
        """How many shards there are."""
        return -(-self.poses // SHARD)

    def size(self, shard: int) -> int:
        """Poses in a shard."""
        return min(SHARD, self.poses - shard * SHARD)

    def geometry(self, arm: str) -> ArmGeometry:
        """The arm at rest."""
        return dict(self.arms)[arm]


def job_of(
    rig: str, plan_digest: str, arms: Sequence[tuple[str, ArmGeometry]], seed: int, poses: int, rounds: int = ROUNDS
) -> Job:
    """A job, checked. Raises ProofError for a number of poses or rounds or a seed that can not be."""
    if not 1 <= poses <= MOST_POSES:
        raise ProofError(f"--poses {poses}: expected a whole number from 1 to {MOST_POSES}")
    if not 0 <= seed <= LARGEST_SEED:
        raise ProofError(f"--seed {seed}: expected a whole number from 0 to {LARGEST_SEED}")
    if not 0 <= rounds <= MOST_ROUNDS:
        raise ProofError(f"--rounds {rounds}: expected a whole number from 0 to {MOST_ROUNDS}")
    return Job(rig, plan_digest, tuple(arms), seed, poses, rounds)


def job_of_guide(guide: Guide, seed: int, poses: int, rounds: int = ROUNDS) -> Job:
    """A job for the arms that `guide` plans on a torso of its own, at rest as the host builds them.

    Raises ProofError for a guide without a torso, GuideError where the joints can not make an arm.
    """
    options = ArmOptions()
    if guide.torso is None:
        raise ProofError(
            f"{guide.name}: the guide has no torso; add it, or sweep the .blend that the arms are built in"
        )
    plan = plan_arms(guide, options)
    rests = {bone.name: np.array(bone.rest) for bone in plan.bones}
    arms = [
        (arm, dataclasses.replace(guide_geometry(guide, arm, options), torso=rests[plan.torso], root=rests[plan.root]))
        for arm in dict.fromkeys(role.arm for role in plan.roles)
    ]
    return job_of(guide.name, plan_json.digest(plan), arms, seed, poses, rounds)


def key(job: Job) -> str:
    """What a shard's outcome depends on besides its number and size: SHA-256, hexadecimal.

    Arms, seed, the settings that are swept, numpy, and the code: a shard of other code is no part of this sweep.
    """
    said = json.dumps(
        [
            job.plan_digest,
            [[arm, _plain(geometry)] for arm, geometry in job.arms],
            job.seed,
            AXES,
            SHARD,
            np.__version__,
        ]
    )
    code = hashlib.sha256(said.encode("utf-8"))
    folder = Path(__file__).resolve().parent.parent
    for path in sorted(folder.rglob("*.py"), key=lambda item: item.relative_to(folder).as_posix()):
        code.update(path.relative_to(folder).as_posix().encode("utf-8"))
        code.update(path.read_bytes())
    return code.hexdigest()


def _plain(value: Any) -> Any:
    """A value as lists, texts and numbers, to the last digit."""
    if isinstance(value, np.ndarray):
        return value.tolist()
    if dataclasses.is_dataclass(value):
        return [[item.name, _plain(getattr(value, item.name))] for item in dataclasses.fields(value)]
    if isinstance(value, tuple | list):
        return [_plain(item) for item in value]
    return value
