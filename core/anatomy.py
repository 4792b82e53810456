"""Published body measures, each with its source."""

from __future__ import annotations

from dataclasses import dataclass

# Segment lengths over stature: Winter, Biomechanics and Motor Control of Human Movement, fig. 4.1, after
# Drillis & Contini 1966.
UPPER_ARM = 0.186
FOREARM = 0.146
HAND = 0.108
SHOULDER_HALF_BREADTH = 0.129
SHOULDER_HEIGHT = 0.818


@dataclass(frozen=True)
class Range:
    """Range of motion of one axis of a joint, degrees from the anatomical position to either side."""

    joint: str
    towards: str
    degrees: float
    back: str
    back_degrees: float


# AAOS, in Norkin & White, Measurement of Joint Motion, table A.1.
RANGES = (
    Range("shoulder", "flexion", 180.0, "extension", 60.0),
    Range("shoulder", "abduction", 180.0, "adduction", 0.0),
    Range("shoulder", "lateral rotation", 90.0, "medial rotation", 70.0),
    Range("elbow", "flexion", 150.0, "extension", 0.0),
    Range("forearm", "pronation", 80.0, "supination", 80.0),
    Range("wrist", "flexion", 80.0, "extension", 70.0),
    Range("wrist", "ulnar deviation", 30.0, "radial deviation", 20.0),
)
# Flexion of a finger's and a thumb's joints from root to tip, degrees (AAOS, in Norkin & White; MCP, PIP and DIP, and
# CMC, MCP and IP; from memory).
FINGER_FLEXION = (90.0, 100.0, 90.0)
THUMB_FLEXION = (20.0, 50.0, 80.0)
# How far the outermost fingers move aside from the middle of the hand, degrees (AAOS, in Norkin & White: MCP abduction;
# from memory).
FINGER_ABDUCTION = 20.0
# American Medical Association, Guides to the Evaluation of Permanent Impairment.
TRUNK_ROTATION = 45.0
