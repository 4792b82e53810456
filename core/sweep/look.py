"""What a measure of the sweep sees: settings, the bones they give, and a way to see the bones of other settings.

The bones come from the reference solver in a sweep and from the host in a replay; a measure can not tell.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property, partial

import numpy as np
from numpy.typing import NDArray

from ..proof.cases import Case
from ..proof.expected import Expected, expected
from ..proof.measures import arm_length
from ..proof.plant import laid_flat
from ..proof.samples import ArmRun, ArmSamples
from ..proof.synthetic import solved_samples
from ..solve.settings import ArmGeometry, ArmSettings
from .near import Near, near
from .space import take

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Show = Callable[[ArmSettings], ArmSamples]

MOTION = "sweep"
_FREE = Case("none", 0.0, 0.0, 0.0)


@dataclass(frozen=True, eq=False)
class Look:
    """N poses of one arm.

    Attributes:
        geometry: the arm at rest.
        settings: what is set.
        beside: settings next to them, for measures that compare two; the settings themselves where none does.
        shown: the bones of `settings`.
        show: gives the bones of any settings.
    """

    geometry: ArmGeometry
    settings: ArmSettings
    beside: ArmSettings
    shown: ArmSamples
    show: Show

    @property
    def size(self) -> float:
        """L, metres."""
        return arm_length(self.geometry)

    @cached_property
    def near(self) -> Near:
        """How near the settings are to the singular sets."""
        return near(self.geometry, self.settings)

    @cached_property
    def near_beside(self) -> Near:
        """The same of the settings beside."""
        return near(self.geometry, self.beside)

    @cached_property
    def run(self) -> ArmRun:
        """The poses as the proof's measures take them."""
        return ArmRun("", MOTION, _FREE, self.geometry, self.settings, self.shown)

    @cached_property
    def flat(self) -> ArmSettings:
        """The settings with the hand hold where a planted hand is rolled to, and its dials at rest."""
        return laid_flat(self.geometry, self.settings)

    @cached_property
    def goal(self) -> Expected:
        """Where docs/arm.md puts elbow and wrist, for an elbow dial of 0 or 1, seen from the shown shoulder."""
        return expected(replace(self.run, settings=self.flat))

    def goal_with(self, elbow: float) -> Expected:
        """`goal` as if the elbow dial stood at 0 or 1."""
        dial = np.full(len(self.settings.elbow), elbow)
        return expected(replace(self.run, settings=replace(self.flat, elbow=dial)))

    def only(self, which: Mask) -> Look:
        """Some of the poses."""
        return Look(
            self.geometry,
            take(self.settings, which),
            take(self.beside, which),
            take(self.shown, which),
            self.show,
        )


def solved_look(geometry: ArmGeometry, settings: ArmSettings, beside: ArmSettings) -> Look:
    """A look through the reference solver."""
    show = partial(solved_samples, geometry)
    return Look(geometry, settings, beside, show(settings), show)
