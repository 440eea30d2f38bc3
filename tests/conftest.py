"""What all tests share: how hypothesis runs.

The usual run is derandomised, so that a green main stays green; `make proof` searches anew each time and prints the
seed of what it finds.
"""

from __future__ import annotations

import os

from hypothesis import HealthCheck, settings

# Slow first draws (character tables being built) and a busy machine are no failures of the code under test.
_CALM = [HealthCheck.too_slow]
settings.register_profile("usual", deadline=None, max_examples=60, derandomize=True, suppress_health_check=_CALM)
settings.register_profile("proof", deadline=None, max_examples=2_000, print_blob=True, suppress_health_check=_CALM)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "usual"))
