"""The page of a study: what recorded arms do, beside published figures, and what that asks of a rig."""
