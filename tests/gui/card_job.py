"""Runs in the full graphical host: the sidebar's proof by card of forty arms of native IK, whole and stopped by Esc.
Prints one line of JSON and signals; the window is then ready for a picture.

Arguments after `--`: a folder that holds this checkout as `armwright`, and what the picture is of: "done", "running" or
"wrong". Start it with `--enable-event-simulate`.
"""

from __future__ import annotations

import json
import os
import pathlib
import sys
import tempfile
import time
import traceback
from collections.abc import Callable, Iterator
from typing import Any

import bpy

sys.dont_write_bytecode = True
PARENT, PICTURE = sys.argv[sys.argv.index("--") + 1 :][:2]
sys.path[:0] = [PARENT, str(pathlib.Path(__file__).resolve().parent.parent / "host")]
OUTCOME: dict[str, Any] = {"turns": []}
SIDES = tuple(f"row{row}.{side}" for row in range(20) for side in ("L", "R"))


def _timed() -> None:
    """Time every turn that the proof takes from the window."""
    from armwright.addon.operators import proof_job

    def timed(real: Any) -> Any:
        # The host counts an operator's arguments.
        def work(self: Any, context: Any, given: Any) -> Any:
            begun = time.perf_counter()
            try:
                return real(self, context, given)
            finally:
                OUTCOME["turns"].append(round(time.perf_counter() - begun, 4))

        return work

    for name in ("invoke", "modal"):
        setattr(proof_job.ProofJob, name, timed(getattr(proof_job.ProofJob, name)))


def _window() -> Any:
    return bpy.context.window_manager.windows[0]


def _override() -> Any:
    area = next(area for area in _window().screen.areas if area.type == "VIEW_3D")
    region = next(region for region in area.regions if region.type == "WINDOW")
    return bpy.context.temp_override(window=_window(), area=area, region=region)


def _runs() -> bool:
    return any(item.bl_idname == "ARMWRIGHT_OT_run_card_proof" for item in _window().modal_operators)


def _start() -> None:
    with _override():
        assert bpy.ops.armwright.run_card_proof("INVOKE_DEFAULT") == {"RUNNING_MODAL"}


def _until(done: Callable[[], bool], seconds: float = 60.0) -> Iterator[None]:
    ends = time.monotonic() + seconds
    while not done():
        assert time.monotonic() < ends, "it does not come to an end"
        yield


def _set_up() -> Any:
    for item in list(bpy.data.objects):
        bpy.data.objects.remove(item)
    import foreign_arms as made

    import armwright

    armwright.register()
    _timed()
    armature = made.native_ik("Keeper", sides=SIDES)
    bpy.context.view_layer.objects.active = armature
    armature.select_set(True)
    area = next(area for area in _window().screen.areas if area.type == "VIEW_3D")
    area.spaces.active.show_region_ui = True
    return armature


def _work() -> Iterator[None]:
    from deep_snapshot import deep_snapshot, differences

    from armwright.addon.operators.verdict_lists import last_of

    armature = _set_up()
    yield
    area = next(area for area in _window().screen.areas if area.type == "VIEW_3D")
    next(region for region in area.regions if region.type == "UI").active_panel_category = "Armwright"
    state, card = (getattr(bpy.context.window_manager, name) for name in ("armwright_proof", "armwright_card"))
    folder = pathlib.Path(tempfile.mkdtemp())
    with _override():
        assert bpy.ops.armwright.draft_card(filepath=str(folder / "keeper.card.json")) == {"FINISHED"}
    OUTCOME["guesses"] = len(card.guesses)
    yield
    before = deep_snapshot()
    _start()
    yield from _until(lambda: state.done > 0.3)
    OUTCOME["borrowed"] = len(differences(before, deep_snapshot()))
    _window().event_simulate("ESC", "PRESS", x=600, y=500)
    yield from _until(lambda: not _runs())
    OUTCOME["esc"] = {"headline": state.headline, "differs": differences(before, deep_snapshot())}
    _window().event_simulate("ESC", "RELEASE", x=600, y=500)
    yield
    _start()
    yield from _until(lambda: not _runs())
    found = last_of(armature.name)
    assert found is not None
    OUTCOME["checks"], OUTCOME["headline"] = len(found.checks), state.headline
    if PICTURE == "running":
        _start()
        yield from _until(lambda: state.done > 0.5)
    elif PICTURE == "wrong":
        path = folder / "wrong.json"
        path.write_text((folder / "keeper.card.json").read_text().replace('"palm.row0.L"', '"plam.row0.L"'))
        card.path = str(path)
        with _override():
            try:
                bpy.ops.armwright.run_card_proof("INVOKE_DEFAULT")
            except RuntimeError as problem:
                OUTCOME["wrong"] = str(problem)


def _tick(work: Iterator[None]) -> float | None:
    try:
        next(work)
        return 0.05
    except StopIteration:
        pass
    except BaseException:
        OUTCOME["error"] = traceback.format_exc()
    turns, OUTCOME["turns"] = OUTCOME["turns"], []
    OUTCOME["turn"] = {"count": len(turns), "longest": max(turns, default=0.0)}
    print(json.dumps({key: value for key, value in OUTCOME.items() if key != "turns"}), flush=True)
    pathlib.Path(os.environ["BLENDER_GUI_DONE"]).touch()
    return None


WORK = _work()
bpy.app.timers.register(lambda: _tick(WORK), first_interval=1.5)
