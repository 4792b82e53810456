"""A recording onto an arm: what was recorded in the character's own space, arcs, holds, and how far it is from it."""
