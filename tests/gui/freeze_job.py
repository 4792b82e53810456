"""Runs in the full graphical host with `--enable-event-simulate`: how long the window of the demo's scene goes without
handling an event while Wren's whole proof runs, while a check is shown and put back, and while both are stopped by Esc.
Prints for each part how long the longest turn of the host's loop was and where, and one line of JSON.

    SHOT --bind CHECKOUT --timeout 900 --flag --enable-event-simulate --log LOG tests/gui/freeze_job.py OUT.png \\
        -- PARENT [PART,PART [LONGEST]]

SHOT is a program as in click_sidebar.py; PARENT is a folder that holds this checkout as `armwright`. Parts: `view` (it
is only drawn), `stopped` and `whole` proofs, `choosing` a requirement, `listing` what is kept, `shown` checks, and ones
that are `left` before. `busy` is the main thread's own time, which other programs on the machine do not lengthen;
`drawn` is a 3D view's drawing.
"""

from __future__ import annotations

import json
import os
import pathlib
import sys
import time
import traceback
from collections.abc import Callable, Iterator
from dataclasses import replace
from operator import attrgetter
from typing import Any

import bpy
from mathutils import Euler, Vector

sys.dont_write_bytecode = True
HERE = pathlib.Path(__file__).resolve()
ARGUMENTS = sys.argv[sys.argv.index("--") + 1 :]
sys.path[:0] = [ARGUMENTS[0], str(HERE.parent), str(HERE.parents[1] / "host")]
# Parts to run, all if none is named.
PARTS = ARGUMENTS[1].split(",") if len(ARGUMENTS) > 1 else []
# The longest that anything may take, seconds.
LONGEST = float(ARGUMENTS[2]) if len(ARGUMENTS) > 2 else 900.0

# Seconds: between two looks at whether something has come, how long a part is watched.
TICK, STAY = 0.02, 1.0
# A turn that is too long, and how many of the longest are told.
LIMIT, MOST = 0.2, 5
# When Esc stops the work, so that it is in different work each time.
STOPS = (0.0, 0.5, 3.0, 9.0)
# As many as the whole proof of two arms with fingers has, about.
CHECKS = 10_000
LOOKS_AT, DISTANCE, TURNS = (0.1, -0.1, 1.15), 2.6, (1.4, 0.0, 0.5)
OUTCOME: dict[str, Any] = {}


def _places() -> dict[str, Any]:
    window = bpy.context.window_manager.windows[0]
    area = next(area for area in window.screen.areas if area.type == "VIEW_3D")
    return {"window": window, "area": area, "regions": {region.type: region for region in area.regions}}


def _override() -> Any:
    places = _places()
    return bpy.context.temp_override(window=places["window"], area=places["area"], region=places["regions"]["WINDOW"])


def _press(key: str) -> None:
    for value in ("PRESS", "RELEASE"):
        _places()["window"].event_simulate(type=key, value=value, x=600, y=400)


def _until(found: Callable[[], bool]) -> Iterator[None]:
    start = time.monotonic()
    while not found():
        if time.monotonic() - start > LONGEST:
            state = bpy.context.window_manager.armwright_proof
            raise TimeoutError(f"not done after {LONGEST:g} s, at {100.0 * state.done:.0f} %: {state.headline}")
        yield


def _wait(seconds: float) -> Iterator[None]:
    start = time.monotonic()
    yield from _until(lambda: time.monotonic() - start > seconds)


def _modal() -> list[str]:
    return [item.bl_idname for item in _places()["window"].modal_operators]


def _scene() -> Any:
    """The demo's scene, beside its sidebar."""
    import armwright
    from armwright.demo_blend_scripts import scene

    for item in list(bpy.data.objects):
        bpy.data.objects.remove(item)
    armwright.register()
    armature = scene.build_scene().character.armature
    bpy.context.scene.frame_set(60)
    for item in bpy.context.view_layer.objects:
        item.select_set(item is armature)
    bpy.context.view_layer.objects.active = armature
    bpy.ops.object.mode_set(mode="POSE")
    view = _places()["area"].spaces.active
    view.show_region_ui = True
    view.shading.type, view.shading.color_type = "SOLID", "MATERIAL"
    seen = view.region_3d
    seen.view_perspective = "PERSP"
    seen.view_location = armature.location + Vector(LOOKS_AT)
    seen.view_rotation, seen.view_distance = Euler(TURNS).to_quaternion(), DISTANCE
    return armature


def _start(what: Any) -> None:
    with _override():
        what("INVOKE_DEFAULT")


def _job() -> Iterator[None]:
    from heartbeat import Heartbeat, wrapped

    from armwright.addon.operators import proof, show_check

    with _override():
        _scene()
    yield from _wait(2.0)
    _places()["regions"]["UI"].active_panel_category = "Armwright"
    yield from _wait(2.0)
    state = bpy.context.window_manager.armwright_proof
    heart = Heartbeat(lambda: state.headline)
    for owner in (proof.ARMWRIGHT_OT_run_proof, show_check.ARMWRIGHT_OT_show_check):
        for name in ("invoke", "modal"):
            wrapped(heart, owner, name)
    try:
        for name, work in WORK.items():
            if PARTS and name not in PARTS:
                continue
            # What is prepared before the first of them is no part of what is measured.
            for before in work(state):
                # A look at the whole file is no part of what is measured.
                if before is not None:
                    yield from _look(heart, name, before)
                yield
            heart.part = "between"
            _tell(heart, name)
            yield
    except BaseException:
        # What there is of it is better than nothing.
        _tell(heart, heart.part)
        raise
    finally:
        heart.stop()


def _look(heart: Any, name: str, before: dict[str, Any]) -> Iterator[None]:
    """Note what is not as it was; the first time, how everything is."""
    from deep_snapshot import deep_snapshot, differences

    from armwright.addon.kept_results import KEY

    heart.part = "between"
    yield
    bpy.context.view_layer.update()
    now = deep_snapshot()
    if before:
        changed = [line for line in differences(before, now) if KEY not in line]
        OUTCOME.setdefault("changed", {}).setdefault(name, []).append(changed)
    else:
        before.update(now)
    yield
    heart.part = name


def _tell(heart: Any, name: str) -> None:
    """Print a part's longest turns."""
    turns = [turn for turn in heart.turns if turn.part == name]
    longest = sorted(turns, key=lambda turn: -turn.rest)[:MOST]
    busiest, slowest = (max(turns, key=attrgetter(of)) for of in ("busy", "seconds"))
    late = sum(turn.rest > LIMIT for turn in turns)
    views = sum(turn.views for turn in turns)
    print(
        f"{name}: longest {longest[0].rest:.3f} s without drawing, {slowest.seconds:.3f} s with it, {busiest.busy:.3f} "
        f"s of work; {len(turns)} turns, {late} over {LIMIT:g} s, {views} views drawn; load {os.getloadavg()[0]:.1f}"
    )
    for turn in (*longest, slowest, busiest):
        print("   ", turn.told(), flush=True)
    figures = {"turns": len(turns), "late": late, "views": views, "load": os.getloadavg()[0]}
    OUTCOME[name] = {**figures, "longest": longest[0].told(), "slowest": slowest.told(), "busiest": busiest.told()}


# What a part yields: None, or a dictionary that is filled with the state of the file, and compared with it later.
Part = Iterator[dict[str, Any] | None]


def _view(state: Any) -> Part:
    yield {}
    for _ in range(4):
        _places()["area"].tag_redraw()
        yield from _wait(0.5)


def _stopped(state: Any) -> Part:
    before: dict[str, Any] = {}
    yield before
    for seconds in STOPS:
        _start(bpy.ops.armwright.run_proof)
        yield from _wait(seconds + 0.1)
        _press("ESC")
        yield from _until(lambda: not _modal() and not state.running)
        yield from _wait(STAY)
        yield before


def _whole(state: Any) -> Part:
    before: dict[str, Any] = {}
    yield before
    begun = time.monotonic()
    _start(bpy.ops.armwright.run_proof)
    yield from _until(lambda: not state.running)
    OUTCOME["seconds of the proof"] = round(time.monotonic() - begun, 1)
    yield from _wait(STAY)
    OUTCOME["headline"] = state.headline
    yield before


def _choosing(state: Any) -> Part:
    yield {}
    for place in range(len(state.verdicts)):
        state.active = place
        yield from _wait(0.3)


def _listing(state: Any) -> Part:
    from armwright.addon import kept_results
    from armwright.addon.operators.verdict_lists import last_of

    armature = bpy.data.objects["Wren"]
    if not state.verdicts:
        _some_results(state)
    results = last_of(state.rig)
    assert results is not None
    copies = range(-(-CHECKS // len(results.checks)))
    many = tuple(replace(check, id=f"{check.id}+{copy}") for copy in copies for check in results.checks)
    kept_results.keep(armature, replace(results, checks=many[:CHECKS]))
    # As after loading.
    kept_results._read.clear()
    yield {}
    _start(bpy.ops.armwright.recall_proof)
    yield from _until(lambda: not _modal())
    yield from _wait(STAY)
    OUTCOME["listed"] = len(last_of(state.rig).checks)
    kept_results.keep(armature, results)


def _some_results(state: Any) -> None:
    """Results to show a check of, where no proof has run."""
    from armwright.addon import prove, subjects
    from armwright.addon.operators.verdict_lists import show
    from armwright.core.proof.run_plan import planned_runs, standard_motions

    subject = subjects.subject_of(bpy.data.objects["Wren"])
    motions = standard_motions(1)
    runs = tuple(spec for spec in planned_runs(motions) if spec.motion in ("torso-wiggle", "hand-round"))[::15]
    scope = prove.Scope(motions, runs, (), motions[0])
    show(state, subject.armature.name, prove.prove_whole(subject, scope=scope))


def _shown(state: Any) -> Part:
    from armwright.addon import shown_check

    before: dict[str, Any] = {}
    if not state.verdicts:
        _some_results(state)
    yield before
    for place in range(len(state.verdicts)):
        state.active = place
        yield from _wait(0.1)
        if not state.checks or "+rest" in state.checks[0].words or state.verdicts[place].requirement == "switch":
            continue
        _start(bpy.ops.armwright.show_check)
        yield from _until(lambda: shown_check.showing() is not None)
        yield from _wait(STAY)
        _press("ESC")
        yield from _until(lambda: not _modal() and shown_check.showing() is None)
        yield from _wait(STAY)
        yield before


def _left(state: Any) -> Part:
    from armwright.addon import shown_check

    before: dict[str, Any] = {}
    if not state.verdicts:
        _some_results(state)
    yield before
    state.active = 0
    for seconds in STOPS[:3]:
        _start(bpy.ops.armwright.show_check)
        yield from _wait(seconds)
        _press("ESC")
        yield from _until(lambda: not _modal() and shown_check.showing() is None)
        yield from _wait(STAY)
        yield before


WORK: dict[str, Callable[[Any], Part]] = {
    "view": _view,
    "shown": _shown,
    "left": _left,
    "choosing": _choosing,
    "listing": _listing,
    "stopped": _stopped,
    "whole": _whole,
}


_steps = _job()


def run() -> float | None:
    """One step; print and signal at the end."""
    try:
        next(_steps)
        return TICK
    except StopIteration:
        pass
    except BaseException:
        OUTCOME["error"] = traceback.format_exc()
        print(OUTCOME["error"], flush=True)
    print("OUTCOME " + json.dumps(OUTCOME), flush=True)
    pathlib.Path(os.environ["BLENDER_GUI_DONE"]).touch()
    return None


bpy.app.timers.register(run, first_interval=1.5)
