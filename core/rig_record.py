"""What an armature remembers about its arms: enough to find parts by role, to prove them and to build them again."""

from __future__ import annotations

from dataclasses import dataclass

from . import arm_words, codec
from .errors import PlanError
from .plan import json as plan_json
from .plan.made import packed
from .plan.model import Plan, Role

FORMAT = "armwright.rig"
VERSION = 2
_WHAT = "rig record"


@dataclass(frozen=True)
class RigRecord:
    """Attributes:
    name: the character's.
    plan_digest: SHA-256 of the plan.
    torso, root: names of the two bones; root is "" where holds refer to the armature itself.
    roles: which bone plays which part.
    bones: every bone that the build added.
    collections: every bone collection that the build added.
    guide, options: JSON texts of what the plan was made from.
    plan_version: version of the plan that the rig was built from.
    made: that plan, packed (see `plan.made`); "" in a record of version 1, which kept none.
    left: bones that a build made and a later one left to the user, because something of theirs hangs on them.
    """

    name: str
    plan_digest: str
    torso: str
    root: str
    roles: tuple[Role, ...]
    bones: tuple[str, ...]
    collections: tuple[str, ...]
    guide: str
    options: str
    plan_version: int = 1
    made: str = ""
    left: tuple[str, ...] = ()

    @property
    def arms(self) -> tuple[str, ...]:
        """Ids of the arms, in the order in which they were built."""
        return tuple(dict.fromkeys(role.arm for role in self.roles))

    def bone(self, arm: str, role: str) -> str:
        """The bone that plays `role` on `arm`; raises PlanError if there is none."""
        for entry in self.roles:
            if entry.arm == arm and entry.role == role:
                return entry.bone
        known = ", ".join(sorted(entry.role for entry in self.roles if entry.arm == arm)) or "none"
        raise PlanError(f"the {arm_words.name(arm)} has no bone for the role {role!r}; it has: {known}")

    def bones_of(self, arm: str, role: str) -> tuple[str, ...]:
        """The bones of a role that several play: `role`, `role_1`, `role_2` and so on; () if none does."""
        known = {entry.role: entry.bone for entry in self.roles if entry.arm == arm}
        found: list[str] = []
        while (name := f"{role}_{len(found)}" if found else role) in known:
            found.append(known[name])
        return tuple(found)


def record_of(plan: Plan, collections: tuple[str, ...], left: tuple[str, ...] = ()) -> RigRecord:
    """The record of a rig built from `plan`, which added the bone collections and left the bones named."""
    return RigRecord(
        name=plan.name,
        plan_digest=plan_json.digest(plan),
        torso=plan.torso,
        root=plan.root,
        roles=plan.roles,
        bones=tuple(bone.name for bone in plan.bones),
        collections=collections,
        guide=plan.guide,
        options=plan.options,
        plan_version=plan.version,
        made=packed(plan),
        left=left,
    )


def to_text(record: RigRecord) -> str:
    """JSON text of `record`."""
    return codec.to_text({"format": FORMAT, "version": VERSION, **codec.encode(record, PlanError)})


def from_text(text: str) -> RigRecord:
    """The record in `text`; raises PlanError where it is damaged or newer."""
    data = codec.parse(text, _WHAT, PlanError)
    codec.check_header(data, FORMAT, VERSION, _WHAT, PlanError)
    fields = {key: value for key, value in data.items() if key not in ("format", "version")}
    # A record of an older version lacks the fields that came later.
    return codec.decode(RigRecord, fields, "", PlanError, may_omit=data["version"] < VERSION)
