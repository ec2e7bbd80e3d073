"""Property tests draw new examples on every run, but the same ones on a build machine."""

from __future__ import annotations

import os

from hypothesis import settings

settings.register_profile("ci", derandomize=True, deadline=None)
settings.register_profile("shop", deadline=None)
settings.load_profile("ci" if os.environ.get("CI") else "shop")
