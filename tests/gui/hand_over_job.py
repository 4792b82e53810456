"""Runs in the full graphical host with `--enable-event-simulate`: the export as a window runs it. Prints one line of
JSON.

An export in pieces ends with a whole file, Esc writes none; both leave the window, the scene and the pose as they were;
the button opens a file chooser. `ARMWRIGHT_PARENT` and `BLENDER_GUI_DONE` as in window_job.py.
"""

from __future__ import annotations

import json
import os
import pathlib
import sys
import tempfile
import time
import traceback
from collections.abc import Iterator
from typing import Any

import bpy

sys.dont_write_bytecode = True
HERE = pathlib.Path(__file__).resolve()
sys.path[:0] = [os.environ.get("ARMWRIGHT_PARENT", str(HERE.parents[3])), str(HERE.parents[1] / "host")]

OUTCOME: dict[str, object] = {}
# A frame of the window, and the longest that a step may take, seconds.
TICK, LONGEST = 0.05, 60.0


def _override() -> Any:
    window = bpy.context.window_manager.windows[0]
    area = next(area for area in window.screen.areas if area.type == "VIEW_3D")
    region = next(region for region in area.regions if region.type == "WINDOW")
    return bpy.context.temp_override(window=window, area=area, region=region)


def _state() -> Any:
    from deep_snapshot import deep_snapshot

    bpy.context.view_layer.update()
    return {**deep_snapshot(), "windows": [window.scene.name for window in bpy.context.window_manager.windows]}


def _until(found: Any) -> Iterator[None]:
    start = time.monotonic()
    while not found():
        if time.monotonic() - start > LONGEST:
            raise TimeoutError("nothing came of it")
        yield


def _job() -> Iterator[None]:
    from characters import wren_on_own_armature
    from deep_snapshot import differences
    from keepers import activate
    from props import swing

    import armwright

    armwright.register()
    folder = pathlib.Path(tempfile.mkdtemp())
    bpy.data.scenes.new("A second scene")
    with _override():
        for item in list(bpy.data.objects):
            bpy.data.objects.remove(item)
        wren = wren_on_own_armature()
        swing(wren, 200)
        activate(wren, "POSE")
    yield
    before = _state()
    path = folder / "wren.glb"
    with _override():
        OUTCOME["starts"] = sorted(bpy.ops.armwright.hand_over("INVOKE_DEFAULT", filepath=str(path), first=1, last=200))
    yield from _until(path.exists)
    yield
    OUTCOME["bytes"] = path.stat().st_size
    OUTCOME["changed by an export"] = differences(before, _state())
    stopped = folder / "stopped.glb"
    with _override():
        bpy.ops.armwright.hand_over("INVOKE_DEFAULT", filepath=str(stopped), first=1, last=50000)
    for _ in range(10):
        yield
    OUTCOME["frame while it runs"] = bpy.context.scene.frame_current
    window = bpy.context.window_manager.windows[0]
    for value in ("PRESS", "RELEASE"):
        window.event_simulate(type="ESC", value=value, x=600, y=400)
    yield from _until(lambda: bpy.context.scene.frame_current == 1)
    OUTCOME["files after Esc"] = sorted(item.name for item in folder.iterdir())
    OUTCOME["changed by Esc"] = differences(before, _state())
    with _override():
        OUTCOME["chooser"] = sorted(bpy.ops.armwright.ask_hand_over("INVOKE_DEFAULT"))
    for _ in range(10):
        yield
    windows = bpy.context.window_manager.windows
    browsers = [area for entry in windows for area in entry.screen.areas if area.type == "FILE_BROWSER"]
    OUTCOME["file chooser is open"] = len(browsers) == 1
    space = browsers[0].spaces.active
    OUTCOME["chooser's name"] = space.params.filename if space.params else None
    space.params.directory, space.params.filename = str(folder).encode(), "chosen.glb"
    yield
    chosen = folder / "chosen.glb"
    owner = next(entry for entry in windows if browsers[0] in list(entry.screen.areas))
    region = next(entry for entry in browsers[0].regions if entry.type == "WINDOW")
    with bpy.context.temp_override(window=owner, area=browsers[0], region=region):
        bpy.ops.file.execute()
    yield from _until(chosen.exists)
    yield
    OUTCOME["bytes of the chosen file"] = chosen.stat().st_size
    OUTCOME["changed by the chooser"] = differences(before, _state())


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
    print("OUTCOME " + json.dumps(OUTCOME), flush=True)
    pathlib.Path(os.environ["BLENDER_GUI_DONE"]).touch()
    return None


bpy.app.timers.register(run, first_interval=1.5)
