"""Studies recorded motion: what arms do over time, how far they reach, and what that asks of a rig."""
