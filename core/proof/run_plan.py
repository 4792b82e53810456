"""Which runs a proof makes: motion, case, dials that sweep, in or out of reach, and which requirements look at each."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..errors import ProofError
from ..motion import planted
from ..motion.clip import Clip, make_clip
from ..motion.rounds import BEYOND, FURTHEST, Round, aim_round, both_round, hand_round
from ..motion.sweeps import elbow_sweep, fk_sweep, hand_sweep, shrug
from ..motion.wiggle import torso_snap, torso_wiggle
from .cases import CORNERS, MODES, Case

Array = NDArray[np.float64]

NEAR, FAR = "near", "far"
WIGGLE = "torso-wiggle"
SHRUG = "shrug"
RAISE = "raise"
BLEND_RAMP = "blend-ramp"
ROLL = "roll"
HAND_ROUND, AIM_ROUND, BOTH_ROUND = "hand-round", "aim-round", "both-round"

# Modes whose hand is held, and so can be planted.
PLANTED = ("hand", "both")
HELD = ("hold-hand", "hold-elbow", "hold-both")
CORNER_REQUIREMENTS = ("swing", *HELD, "lift", "isolate", "stretch")

WIGGLE_FRAMES, SWEEP_FRAMES = 240, 120
BLEND_FRAMES = 65
# 3 degrees a frame, so that the table's elevations are frames.
RAISE_FRAMES = 61
RAMP_FRAMES = 49
# So many that no step of a round could hide a flip: see motion/rounds.py.
HAND_ROUND_FRAMES, HAND_BEYOND_FRAMES, AIM_ROUND_FRAMES, BOTH_ROUND_FRAMES = 200, 220, 172, 170
# Radians: at half a turn a roll has two values. 21 degrees a frame; every frame is judged by itself.
LARGEST_ROLL = np.radians(170.0)
ROLL_FRAMES = 17
SHORTEST_SEGMENT, LONGEST_SEGMENT = 0.6, 1.8
# Channels below this, radians, are rounding and no motion.
STILL = 1e-6
BETWEEN = (0.25, 0.5, 0.75)


@dataclass(frozen=True, eq=False)
class RunSpec:
    """One motion of all arms in one case.

    Attributes:
        motion: name in ids and reports, unique for the case.
        clip: what moves.
        case: mode and dials.
        reach: "near": held points stay in reach; "far": they leave it for part of the motion.
        dials: (name of a dial of ArmSettings, its values (N,)): what differs from the case.
        requirements: ids that look at the run.
        raised: (N,) elevation of the upper arm, radians, sideways in the torso's frame from hanging; None for what the
            clip says.
        rolled: (N,) roll of upper arm and wrist, radians, each about its own axis; None for what the clip says.
        around: hand hold and elbow aim, seen from the torso's own shoulder point; None for what the clip says.
    """

    motion: str
    clip: Clip
    case: Case
    reach: str = NEAR
    dials: tuple[tuple[str, Array], ...] = ()
    requirements: tuple[str, ...] = ()
    raised: Array | None = None
    around: Round | None = None
    rolled: Array | None = None


def standard_motions(seed: int = 1, recorded: Clip | None = None, sweep: int = SWEEP_FRAMES) -> tuple[Clip, ...]:
    """The motions of a proof; `recorded` joins them where it is given. `sweep`: frames of all but the wiggle."""
    made = (
        torso_wiggle(WIGGLE_FRAMES, seed),
        torso_snap(sweep, seed),
        shrug(sweep),
        hand_sweep(sweep, seed),
        elbow_sweep(sweep, seed),
        fk_sweep(sweep),
    )
    return made if recorded is None else (*made, recorded)


def planned_runs(motions: Sequence[Clip]) -> tuple[RunSpec, ...]:
    """Every run of a proof: all corners under each of `motions`, then out of reach, then dials in between.

    Raises ProofError without a motion, for two of one name, or for a name that a run of the proof's own has.
    """
    return tuple(planning_runs(motions))


def planning_runs(motions: Sequence[Clip]) -> Iterator[RunSpec]:
    """`planned_runs` one by one, since they take their time to make."""
    _check(motions)
    wiggle = next((clip for clip in motions if clip.name == WIGGLE), motions[0])
    yield from (_corner(clip, case, clip is wiggle) for clip in motions for case in CORNERS)
    still = make_clip("still", RAMP_FRAMES)
    yield from (_far(wiggle, case) for case in CORNERS if case.mode != "none")
    yield from (_blend(case) for case in CORNERS)
    yield from (_raise(case) for case in CORNERS)
    yield from (
        RunSpec(f"{wiggle.name}+between", wiggle, Case("none", share, lift, 0.0), requirements=("isolate", "swing"))
        for share, lift in zip(BETWEEN, (0.0, 1.0, 0.5), strict=True)
    )
    yield from (_lengths(still, mode, stretch) for mode in MODES for stretch in (0.0, 1.0))
    yield from (
        RunSpec(
            "lift-ramp",
            still,
            Case(mode, 0.0, 0.5, 0.0),
            dials=(("lift", np.linspace(0.0, 1.0, still.frames)),),
            requirements=("lift", "stretch"),
        )
        for mode in MODES
    )
    yield from (
        RunSpec(
            "soft-sweep",
            hand_sweep(RAMP_FRAMES),
            Case("hand", 0.0, 0.0, stretch),
            reach=FAR,
            dials=(("soft", np.full(RAMP_FRAMES, 0.5)),),
            requirements=("stretch",),
        )
        for stretch in (0.0, 0.5, 1.0)
    )
    yield from (_volume(stretch) for stretch in (0.5, 1.0))
    yield from (_roll(case) for case in CORNERS)
    yield from _rounds([case for case in CORNERS if case.mode == "hand"])
    yield from _planted(CORNERS)


def evaluated_frames(runs: Sequence[RunSpec]) -> int:
    """Frames that the host evaluates for `runs`, all arms at once."""
    return sum(run.clip.frames for run in runs)


def _corner(clip: Clip, case: Case, moves_fingers: bool) -> RunSpec:
    # A recording without a clavicle has rounding there.
    moved = ("shoulder",) if np.abs(clip.clavicle).max() > STILL else ()
    # Nothing else looks at the fingers: they move along in runs that are made anyway.
    fingers = ("fingers",) if moves_fingers else ()
    return RunSpec(clip.name, clip, case, requirements=CORNER_REQUIREMENTS + moved + fingers)


def _far(clip: Clip, case: Case) -> RunSpec:
    return RunSpec(f"{clip.name}+far", clip, case, reach=FAR, requirements=(*HELD, "lift", "stretch"))


def _blend(case: Case) -> RunSpec:
    """The dial from the mode's own end to the other one, in equal steps: see the `jump` of blend.py."""
    ramp = np.linspace(case.ik, 1.0 - case.ik, BLEND_FRAMES)
    return RunSpec(BLEND_RAMP, make_clip("still", BLEND_FRAMES), case, dials=(("ik", ramp),), requirements=("blend",))


def _raise(case: Case) -> RunSpec:
    angles = np.linspace(0.0, np.pi, RAISE_FRAMES)
    return RunSpec(RAISE, make_clip("still", RAISE_FRAMES), case, requirements=("lift",), raised=angles)


def _lengths(clip: Clip, mode: str, stretch: float) -> RunSpec:
    """Both segments through their dials; out of step where no hand hold has to stay in reach of both."""
    middle, half = (LONGEST_SEGMENT + SHORTEST_SEGMENT) / 2.0, (LONGEST_SEGMENT - SHORTEST_SEGMENT) / 2.0
    phase = np.linspace(0.0, 2.0 * np.pi, clip.frames)
    apart = 0.0 if mode == "hand" else 0.7
    upper, fore = middle + half * np.sin(phase), middle + half * np.sin(phase + apart)
    return RunSpec(
        "length-ramp",
        clip,
        Case(mode, 0.0, 0.0, stretch),
        dials=(("upper_length", upper), ("forearm_length", fore)),
        requirements=("stretch", "swing", *HELD),
    )


def _volume(stretch: float) -> RunSpec:
    clip = hand_sweep(RAMP_FRAMES)
    ramp = np.linspace(0.0, 1.0, RAMP_FRAMES)
    return RunSpec(
        "volume-ramp", clip, Case("hand", 0.0, 0.0, stretch), FAR, (("volume", ramp),), requirements=("stretch",)
    )


def _roll(case: Case) -> RunSpec:
    return RunSpec(
        ROLL,
        make_clip("still", ROLL_FRAMES),
        case,
        requirements=("twist",),
        rolled=np.linspace(-LARGEST_ROLL, LARGEST_ROLL, ROLL_FRAMES),
    )


def _rounds(cases: Sequence[Case]) -> Iterator[RunSpec]:
    """In every corner the hand goes round, and in either half of them the aim, or both; the rounds interleave."""
    half = len(cases) // 2
    for number, case in enumerate(cases):
        share, other_share = number / len(cases), number % half / half
        # A hand that no stretch lengthens is straight from its reach on; with one it goes through straight and beyond.
        if case.stretch:
            yield _round(HAND_ROUND, hand_round(HAND_BEYOND_FRAMES, share, BEYOND), case, FAR)
        else:
            hand = hand_round(HAND_ROUND_FRAMES, share, FURTHEST, 1 + int(case.isolate))
            yield _round(HAND_ROUND, hand, case)
        if case.isolate:
            yield _round(AIM_ROUND, aim_round(AIM_ROUND_FRAMES, other_share), case)
        else:
            yield _round(BOTH_ROUND, both_round(BOTH_ROUND_FRAMES, other_share), case)


def _planted(cases: Sequence[Case]) -> Iterator[RunSpec]:
    """In every corner of a mode the hand rolls; in opposite ones it rolls aside as well, or leans and spins."""
    more = {0: [planted.roll_aside(1.0)], 7: [planted.roll_aside(-1.0)]} | {
        place: [planted.side(), planted.spin()] for place in (3, 4)
    }
    yield from (
        RunSpec(run.name, run.clip, case, dials=run.dials, requirements=("plant",))
        for mode in PLANTED
        for place, case in enumerate(case for case in cases if case.mode == mode)
        for run in (planted.roll(), *more.get(place, ()))
    )


def _round(name: str, around: Round, case: Case, reach: str = NEAR) -> RunSpec:
    still = make_clip("still", len(around.hand))
    return RunSpec(name, still, case, reach, requirements=("any-axis",), around=around)


def _check(motions: Sequence[Clip]) -> None:
    if not motions:
        raise ProofError("a proof without a motion proves nothing: give one or more")
    names = [clip.name for clip in motions]
    own = {
        RAISE,
        BLEND_RAMP,
        ROLL,
        HAND_ROUND,
        AIM_ROUND,
        BOTH_ROUND,
        *(planted.ROLL, planted.ASIDE, planted.SIDE, planted.SPIN),
        "lift-ramp",
        "length-ramp",
        "soft-sweep",
        "volume-ramp",
    }
    for name in names:
        if names.count(name) > 1 or name in own or "/" in name:
            raise ProofError(
                f"a motion is called {name!r}: names are unique, without '/', and none of {', '.join(sorted(own))}"
            )
