"""Lets the outside checks use the arms and random settings of the core tests."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "core"))
