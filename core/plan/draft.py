"""A plan in the making: building blocks add to it, then it is frozen. The only mutable thing in the plan's package."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from .model import Bone, Constraint, Driver, External, Plan, Property, Rest, Role, Scalar, Variable

Array = NDArray[np.float64]


def rest_rows(frame: Array) -> Rest:
    """A (4, 4) frame as the plan's tuples."""
    rows = [tuple(float(value) for value in row) for row in frame]
    return (rows[0], rows[1], rows[2], rows[3])  # type: ignore[return-value]


@dataclass
class Draft:
    """Collects bones, constraints, drivers, properties and roles, in the order in which they are added."""

    bones: list[Bone] = field(default_factory=list)
    constraints: list[Constraint] = field(default_factory=list)
    drivers: list[Driver] = field(default_factory=list)
    properties: list[Property] = field(default_factory=list)
    roles: list[Role] = field(default_factory=list)
    external: list[External] = field(default_factory=list)

    def constrain(
        self,
        bone: str,
        name: str,
        kind: str,
        target: str,
        influence: float = 1.0,
        space: str = "",
        **settings: Scalar,
    ) -> None:
        """Add a constraint to `bone`."""
        self.constraints.append(Constraint(bone, name, kind, target, influence, tuple(sorted(settings.items())), space))

    def drive(self, bone: str, channel: str, expression: str, *variables: Variable, index: int = 0) -> None:
        """Drive component `index` of a transform channel of `bone`."""
        self.drivers.append(Driver(bone, channel, expression, variables, index=index))

    def drive_constraint(self, bone: str, constraint: str, channel: str, expression: str, *variables: Variable) -> None:
        """Drive `channel` ("influence" or "bulge") of a constraint of `bone`."""
        self.drivers.append(Driver(bone, channel, expression, variables, constraint=constraint))

    def compute(self, bone: str, key: str, default: float, expression: str, *variables: Variable, help: str) -> None:
        """Add a property to `bone` that carries the intermediate result `expression`."""
        self.properties.append(Property(bone, key, default, -1e6, 1e6, help, dial=False))
        self.drivers.append(Driver(bone, "property", expression, variables, key=key))

    def plan(self, name: str, torso: str, root: str, guide: str, options: str) -> Plan:
        """The frozen plan."""
        return Plan(
            name=name,
            bones=tuple(self.bones),
            constraints=tuple(self.constraints),
            drivers=tuple(self.drivers),
            properties=tuple(self.properties),
            roles=tuple(self.roles),
            external=tuple(self.external),
            torso=torso,
            root=root,
            guide=guide,
            options=options,
        )
