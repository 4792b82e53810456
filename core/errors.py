"""Errors for people: each message says what is wrong, where, and what to do about it."""

from __future__ import annotations


class ArmwrightError(Exception):
    """Base of every error that a user can mend. The command line turns it into one sentence and exit code 2."""


class GuideError(ArmwrightError):
    """The joints as placed can not make an arm."""


class FitError(ArmwrightError):
    """No arms can be read from a mesh."""


class PlanError(ArmwrightError):
    """A plan is malformed, unsafe, or can not be built."""


class MotionError(ArmwrightError):
    """A motion file or a motion's settings can not be used."""


class MatchError(ArmwrightError):
    """A pose can not be asked for in the mode or with the settings that were named."""


class ProofError(ArmwrightError):
    """A proof can not be run or its results can not be read."""


class CardError(ArmwrightError):
    """A rig card is malformed, or does not fit the armature that it is of."""


class SheetError(ArmwrightError):
    """A requirement sheet is malformed, or what it names is missing or has changed."""


class HostError(ArmwrightError):
    """The host's file, object or mode does not allow the operation."""


class BindError(ArmwrightError):
    """A mesh can not be bound to the arms as was asked."""


def shown(value: object) -> str:
    """A value of a file for a message: short, and nothing in it that a terminal would obey."""
    if isinstance(value, str):
        return repr(value if len(value) <= 60 else f"{value[:57]}...")
    if isinstance(value, bool) or value is None:
        return str(value).lower()
    if isinstance(value, float) or (isinstance(value, int) and abs(value) < 10**18):
        return repr(value)
    words = {int: "a very large number", dict: "a table", list: "a list"}
    return words.get(type(value), f"a {type(value).__name__}")


def named(name: str) -> str:
    """A name for a list in a message: as `shown`, without quotes."""
    return shown(name)[1:-1]
