"""Write the upper-body excerpt that the tests use: `python make_excerpt.py cmu_01_01.bvh cmu_01_01_upper.bvh`.

Keeps the hips, the spine, the neck and both arms to the wrists; takes 300 frames, every fifth (24 a second of 120),
from the second on (the first is the recording system's rest pose). Values keep the source's four decimals.
"""

from __future__ import annotations

import sys
from pathlib import Path

from armwright.core.motion.bvh import Bvh, read_bvh

ARM = ("Shoulder", "Arm", "ForeArm", "Hand")
KEEP = ("Hips", "LowerBack", "Spine", "Spine1", "Neck", *(side + part for side in ("Left", "Right") for part in ARM))
FIRST, STEP, COUNT = 1, 5, 300


def hierarchy(bvh: Bvh, index: int, depth: int) -> list[str]:
    """Lines of a kept joint and what hangs from it; a joint below that is left out becomes its End Site."""
    joint, tab = bvh.joints[index], "\t" * depth
    children = [i for i, other in enumerate(bvh.joints) if other.parent == index]
    kept = [i for i in children if bvh.joints[i].name in KEEP]
    lines = [f"{tab}{'ROOT' if depth == 0 else 'JOINT'} {joint.name}", f"{tab}{{"]
    lines.append(f"{tab}\tOFFSET {offset(joint.offset)}")
    lines.append(f"{tab}\tCHANNELS {len(joint.channels)} {' '.join(joint.channels)}")
    for child in kept:
        lines += hierarchy(bvh, child, depth + 1)
    if not kept:
        end = next((bvh.joints[i].offset for i in below(bvh, index) if any(bvh.joints[i].offset)), (0.0, 0.0, 0.0))
        lines += [f"{tab}\tEnd Site", f"{tab}\t{{", f"{tab}\t\tOFFSET {offset(end)}", f"{tab}\t}}"]
    return [*lines, f"{tab}}}"]


def below(bvh: Bvh, index: int) -> list[int]:
    """Every joint that hangs from `index`, parents first."""
    found = {index}
    for i, joint in enumerate(bvh.joints):
        if joint.parent in found:
            found.add(i)
    return sorted(found - {index})


def offset(values: tuple[float, ...]) -> str:
    return " ".join(f"{value:.5f}" for value in values)


def main(source: str, target: str) -> None:
    bvh = read_bvh(Path(source).read_bytes())
    columns = [j.column + k for j in bvh.joints if j.name in KEEP for k in range(len(j.channels))]
    rows = bvh.frames[FIRST : FIRST + STEP * COUNT : STEP, columns]
    seconds = STEP * bvh.frame_time
    head = ["HIERARCHY", *hierarchy(bvh, 0, 0), "MOTION", f"Frames: {len(rows)}", f"Frame Time: {seconds:.7f}"]
    body = [" ".join(f"{value:.4f}" for value in row) for row in rows]
    Path(target).write_text("\n".join(head + body) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2])
