"""Rig cards: what the proof has to know about arms that were built by other means."""
