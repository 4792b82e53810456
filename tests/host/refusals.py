"""Guides, plans and refusals that the host tests share."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest


def guide_of(height: float = 1.7) -> Any:
    from armwright.core.stature import guide_from_stature

    return guide_from_stature(height, "Wren")


def plan_of(guide: Any = None, armature: Any = None, torso: str = "chest", root: str = "") -> Any:
    from armwright.addon.build import attachment_to
    from armwright.core.arm.build import plan_arms
    from armwright.core.options import ArmOptions

    guide = guide_of() if guide is None else guide
    return plan_arms(guide, ArmOptions(), attachment_to(armature, torso, root) if armature is not None else None)


def refused(work: Callable[[], Any], words: str) -> str:
    """Run `work`, which must be refused with a sentence that matches `words`, the file staying as it was."""
    from deep_snapshot import deep_snapshot, differences

    from armwright.core.errors import ArmwrightError

    before = deep_snapshot()
    with pytest.raises(ArmwrightError, match=words) as caught:
        work()
    assert (found := differences(before, deep_snapshot())) == [], found
    sentence = str(caught.value)
    assert "\n" not in sentence
    assert len(sentence) < 500
    return sentence


def body(name: str = "Body") -> Any:
    from characters import torso_armature

    return torso_armature(name)
