"""For every test: drawn examples have no limit of time, which a busy machine would break; a failure says its seed."""

from __future__ import annotations

from hypothesis import HealthCheck, settings

settings.register_profile("suite", deadline=None, print_blob=True, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("suite")
