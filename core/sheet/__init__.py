"""Requirement sheets: what a character's arms must do, from recorded motion or by hand, and what proves each line."""
