"""What holds for all tests: property tests have no time limit, and a slow machine is no fault."""

from __future__ import annotations

import os

# Before numpy is loaded: the tests keep every core busy by themselves, and threads in a library would only
# wait for one another. What is set already stands; programs that tests start inherit it.
for variable in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(variable, "1")

from hypothesis import HealthCheck, settings  # noqa: E402

settings.register_profile("any machine", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("any machine")
