"""Armwright: builds arm rigs and proves by measurement that they hold. The host enables it through `register`."""


def register() -> None:
    """Add everything to the host."""
    from .addon import registration

    registration.register()


def unregister() -> None:
    """Take everything out of the host again."""
    from .addon import registration

    registration.unregister()
