"""What holds for all tests: property tests have no time limit, and a slow machine is no fault."""

from __future__ import annotations

from hypothesis import HealthCheck, settings

settings.register_profile("any machine", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("any machine")
