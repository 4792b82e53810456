"""What is clicked in the sidebar, part by part, and what has to be true afterwards. Standard library only."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from window_driver import Missed, Window

# Arm lengths and degrees: the design's limits for a switch.
POP, TURN = 1e-5, 1e-2
MODES = {"none": (0.0, 0.0), "hand": (1.0, 0.0), "elbow": (0.0, 1.0), "both": (1.0, 1.0)}
ARMS = ("L", "R")
# Seconds a whole proof may take in a window drawn by software.
PROOF = 900.0


@dataclass
class Tally:
    """What was clicked so far, and the worst of it."""

    window: Window
    clicks: int = 0
    failures: list[str] = field(default_factory=list)
    pop: float = 0.0
    turn: float = 0.0

    def click(self, what: str, press: Callable[[], None], done: Callable[[dict[str, Any]], bool]) -> bool:
        """One click and its line: the arms may not have moved, and `done(state)` has to hold."""
        self.window.ask("mark")
        self.clicks += 1
        press()
        # The mouse stays until it has happened: one that leaves too soon takes the press back.
        state = self.window.wait(lambda found: done(found) and not found["modal"])
        self.window.over_view()
        if state is None:
            now = self.window.ask("state")
            self.failed(f"{what}: nothing of what it says happened; the arms: {now['arms']}")
            return False
        pop, turn = state["moved"]
        self.pop, self.turn = max(self.pop, pop), max(self.turn, turn)
        if pop > POP or turn > TURN:
            self.failed(f"{what}: moved by {pop:.1e} L, {turn:.1e} degrees")
            return False
        print(f"ok    {what}: moved by {pop:.1e} L, {turn:.1e} degrees", flush=True)
        return True

    def undo(self, what: str) -> None:
        """One undo takes back the last click completely."""
        lines = self.window.undo()
        if lines:
            self.failed(f"undo of {what}: {len(lines)} things are not as before, such as {lines[0][:200]}")
        else:
            print(f"ok    one undo takes back {what} completely", flush=True)

    def failed(self, line: str) -> None:
        self.failures.append(line)
        print(f"FAIL  {line}", flush=True)


def run(window: Window, only: str = "") -> int:
    """The parts named in `only`, separated by commas, or all of them; 0 if nothing failed."""
    unknown = set(filter(None, only.split(","))) - PARTS.keys()
    if unknown:
        print(f"There is no part {', '.join(sorted(unknown))}; there are: {', '.join(PARTS)}")
        return 1
    tally = Tally(window)
    print(f"host {window.host}, sidebar {window.sidebar[2]} x {window.sidebar[3]} pixels", flush=True)
    for name, part in PARTS.items():
        if only and name not in only.split(","):
            continue
        print(f"-- {name}", flush=True)
        try:
            part(tally)
        except Missed as problem:
            tally.failed(f"{name}: {problem}")
    print(
        f"{tally.clicks} clicks, {window.probes} looks; worst pop {tally.pop:.1e} L, {tally.turn:.1e} degrees; "
        + (f"{len(tally.failures)} failed" if tally.failures else "none failed")
    )
    return 1 if tally.failures or not tally.clicks else 0


def _button(name: str, **options: str) -> str:
    given = ", ".join(f'{key}="{value}"' for key, value in options.items())
    return f"bpy.ops.armwright.{name}({given})"


def _dial(arm: str, key: str) -> str:
    return f'bpy.data.objects["Wren"].pose.bones["fk.clavicle.{arm}"]["{key}"]'


def _in_mode(mode: str, *arms: str) -> Callable[[dict[str, Any]], bool]:
    def holds(state: dict[str, Any]) -> bool:
        dials = [state["arms"][arm]["dials"] for arm in arms]
        right = all((entry["ik"], entry["elbow_hold"]) == MODES[mode] for entry in dials)
        return right and all(state["arms"][arm]["mode"] == mode for arm in arms)

    return holds


def _in_space(arm: str, hold: str, key: str) -> Callable[[dict[str, Any]], bool]:
    return lambda state: state["arms"][arm]["spaces"][hold] == key


def modes(tally: Tally) -> None:
    """The four buttons of both arms; each with its undo once."""
    for arm in ARMS:
        for mode in ("hand", "elbow", "both", "none"):
            button = _button("hold", arm=arm, mode=mode)
            tally.click(f"{arm} {mode}", lambda button=button: tally.window.click(button), _in_mode(mode, arm))
    if tally.click(
        "L both, once more", lambda: tally.window.click(_button("hold", arm="L", mode="both")), _in_mode("both", "L")
    ):
        tally.undo("a change of mode")


def flips(tally: Tally) -> None:
    """Isolate, lift and stretch of both arms, with the hand held and free."""
    for arm in ARMS:
        for mode in ("hand", "none"):
            button = _button("hold", arm=arm, mode=mode)
            tally.click(f"{arm} {mode}", lambda button=button: tally.window.click(button), _in_mode(mode, arm))
            for dial in ("isolate", "lift", "stretch"):
                was = tally.window.ask("state")["arms"][arm]["dials"][dial]
                button = _button("flip_dial", arm=arm, dial=dial)
                tally.click(
                    f"{arm} flip {dial} to {1.0 - was:g}",
                    lambda button=button: tally.window.click(button),
                    lambda state, arm=arm, dial=dial, was=was: state["arms"][arm]["dials"][dial] == 1.0 - was,
                )
    tally.undo("a flipped dial")


def spaces(tally: Tally) -> None:
    """The menu of what carries the hold: a click opens it, the entry's letter chooses."""
    for arm in ARMS:
        tally.click(
            f"{arm} hand",
            lambda arm=arm: tally.window.click(_button("hold", arm=arm, mode="hand")),
            _in_mode("hand", arm),
        )
        for letter, key in (("t", "torso"), ("w", "world"), ("t", "torso")):
            tally.click(
                f"{arm} hand held in: {key}",
                lambda arm=arm, letter=letter: _menu(tally, _button("set_space", arm=arm, hold="hand"), letter),
                _in_space(arm, "hand", key),
            )
    tally.undo("a change of space")


def grabbing(tally: Tally) -> None:
    """Grab with a prop selected, let go, take its space off."""
    for arm in ARMS:
        tally.window.ask("select", objects=["Lantern"])
        tally.click(
            f"{arm} grab the lantern",
            lambda arm=arm: tally.window.click(_button("grab", arm=arm, parts="hand")),
            lambda state, arm=arm: _in_space(arm, "hand", "Lantern")(state) and _in_mode("hand", arm)(state),
        )
        tally.click(
            f"{arm} let go",
            lambda arm=arm: tally.window.click(_button("release", arm=arm)),
            _in_mode("none", arm),
        )
    tally.undo("letting go")
    tally.window.ask("select", objects=["Lantern"])
    if tally.click(
        "L grab the lantern with both",
        lambda: tally.window.click(_button("grab", arm="L", parts="both")),
        lambda state: _in_space("L", "elbow", "Lantern")(state) and _in_mode("both", "L")(state),
    ):
        tally.undo("a grab")
    tally.click(
        "L hand held in: world",
        lambda: _menu(tally, _button("set_space", arm="L", hold="hand"), "w"),
        _in_space("L", "hand", "world"),
    )
    if tally.click(
        "L the lantern's space off",
        lambda: _menu(tally, _button("set_space", arm="L", hold="hand"), "End", "Return"),
        lambda state: "Lantern" not in state["arms"]["L"]["known"]["hand"],
    ):
        tally.undo("taking a space off")


def selected(tally: Tally) -> None:
    """The row of the selected control's arm."""
    for bones, arms in ((["hold.hand.R"], ("R",)), (["fk.hand.L", "aim.elbow.R"], ("L", "R"))):
        tally.window.ask("select", bones=bones)
        for mode in ("both", "hand"):
            tally.click(
                f"{' and '.join(bones)} selected: {mode}",
                lambda mode=mode: tally.window.click(_button("hold", arm="SELECTED", mode=mode)),
                _in_mode(mode, *arms),
            )
    tally.click(
        "both selected: let go",
        lambda: tally.window.click(_button("release", arm="SELECTED")),
        _in_mode("none", "L", "R"),
    )
    tally.undo("letting go of both")
    tally.window.ask("select", objects=["Lantern"], bones=["fk.hand.L", "fk.hand.R"])
    tally.click(
        "both selected: grab the lantern",
        lambda: tally.window.click(_button("grab", arm="SELECTED", parts="hand")),
        lambda state: all(_in_space(arm, "hand", "Lantern")(state) for arm in ARMS),
    )


def dials(tally: Tally) -> None:
    """Dials are keyed where they stand: by I over them, and by the menu of the right mouse button."""
    for what, arm, key, press in (
        ("I over a dial", "L", "soft", lambda: tally.window.key("i")),
        ("the right button's menu", "R", "volume", lambda: _context_menu(tally)),
    ):
        path = _dial(arm, key)

        def do(path: str = path, press: Callable[[], None] = press) -> None:
            tally.window.find(path)
            press()

        curve = f'pose.bones["fk.clavicle.{arm}"]["{key}"]'
        tally.click(f"{what} keys {curve}", do, lambda state, curve=curve: curve in state["keyed"])
        tally.undo(f"the key by {what}")


def ranges(tally: Tally) -> None:
    """The two dialogs: each is one undo step from beginning to end."""
    tally.window.ask("select", bones=["hold.hand.L"])
    tally.window.ask("script", what="range", first=1, last=20)
    before = tally.window.ask("state")["keys"]
    if tally.click(
        "convert a range, by its dialog",
        lambda: _dialog(tally, _button("ask_range")),
        lambda state: state["keys"] > before and _in_mode("hand", "L")(state),
    ):
        tally.undo("a converted range")
    if tally.click(
        "hold over a range, by its dialog",
        lambda: _dialog(tally, _button("hold_range")),
        lambda state: state["keys"] > before and _in_mode("hand", "L")(state),
    ):
        tally.undo("a hold over a range")


def proof(tally: Tally) -> None:
    """Run, progress, Esc: everything as it was; then once to its end."""
    window = tally.window
    window.ask("mark")
    window.click(_button("run_proof"))
    tally.clicks += 1
    going = window.wait(lambda state: state["proof"]["running"] and state["proof"]["done"] > 0.02, effect=120.0)
    if going is None:
        tally.failed(f"run proof: it does not go on: {window.ask('state')['proof']}")
        return
    print(f"ok    the proof runs: {going['proof']['headline']}", flush=True)
    window.over_view()
    window.key("Escape")
    stopped = window.wait(lambda state: not state["proof"]["running"], effect=60.0)
    lines = window.ask("differences")["lines"]
    if stopped is None or lines:
        tally.failed(f"Esc: {'it still runs' if stopped is None else lines[0]}")
        return
    print(f"ok    Esc: {stopped['proof']['headline']!r}, and nothing differs", flush=True)
    began = time.monotonic()
    window.click(_button("run_proof"))
    tally.clicks += 1
    ended = window.wait(lambda state: not state["proof"]["running"] and bool(state["proof"]["verdicts"]), effect=PROOF)
    lines = window.ask("differences")["lines"]
    if ended is None or lines:
        tally.failed(f"proof to its end: {'it has no verdicts' if ended is None else lines[0]}")
        return
    print(f"ok    the proof ran to its end in {time.monotonic() - began:.0f} s: {ended['proof']['headline']}")
    for requirement, verdict, figure, limit in ended["proof"]["verdicts"]:
        print(f"      {requirement:12} {verdict:12} {figure} of {limit}")
        if verdict == "fail":
            tally.failed(f"the proof says that {requirement} fails: {figure} of {limit}")


def shown(tally: Tally) -> None:
    """A failing check is shown on the rig: the pose that its trace says, and by Esc everything as it was."""
    window = tally.window
    window.ask("script", what="break a hand")
    # Lists make the sidebar longer than the window.
    time.sleep(2.0)
    window.ask("script", what="scroll to the proof")
    window.seen.clear()
    window.looked_to = 0
    window.ask("mark")
    for key in ("Escape", "Return"):
        window.click(_button("show_check"))
        tally.clicks += 1
        state = window.wait(lambda found: bool(found["shown"]))
        if state is None:
            tally.failed("show worst pose: nothing is shown")
            return
        seen = state["shown"]
        if seen["verdict"] != "fail" or seen["off"] > 1e-5 or not window.ask("differences")["lines"]:
            tally.failed(f"show worst pose: {seen}")
        print(f"ok    shown: {seen['check']}, wrist {seen['off']:.1e} m off its trace", flush=True)
        window.over_view()
        window.key(key)
        gone = window.wait(lambda found: not found["shown"] and not found["modal"])
        lines = window.ask("differences")["lines"]
        if gone is None or lines:
            tally.failed(f"{key}: {'it is still shown' if gone is None else lines[0]}")
        else:
            print(f"ok    {key}: everything is as it was", flush=True)
    window.ask("script", what="mend the hand")


def lost(tally: Tally) -> None:
    """A lantern that was deleted while it was held: one button puts the hold back into the world."""
    window = tally.window
    window.ask("select", objects=["Lantern"])
    tally.click(
        "R grab the lantern",
        lambda: window.click(_button("grab", arm="R", parts="hand")),
        _in_space("R", "hand", "Lantern"),
    )
    window.ask("script", what="lose the lantern")
    window.ask("mark")
    window.click(_button("mend_spaces"))
    tally.clicks += 1
    if window.wait(_in_space("R", "hand", "world")) is None:
        tally.failed("mend lost spaces: the hold is not in the world")
        return
    print("ok    mend lost spaces: the hold is in the world", flush=True)
    tally.undo("mending")


PARTS: dict[str, Callable[[Tally], None]] = {
    "modes": modes,
    "flips": flips,
    "spaces": spaces,
    "grabbing": grabbing,
    "selected": selected,
    "dials": dials,
    "ranges": ranges,
    "shown": shown,
    "proof": proof,
    "lost": lost,
}


def _menu(tally: Tally, button: str, *keys: str) -> None:
    """Open a menu by a click; choose by the letter that the entry underlines, or by going to the last one."""
    tally.window.click(button)
    time.sleep(1.0)
    tally.window.key(*keys)


def _context_menu(tally: Tally) -> None:
    tally.window.press(3)
    time.sleep(1.0)
    # The letter that the menu underlines in "Insert Keyframe".
    tally.window.key("i")


def _dialog(tally: Tally, button: str) -> None:
    tally.window.click(button)
    time.sleep(1.5)
    tally.window.key("Return")
