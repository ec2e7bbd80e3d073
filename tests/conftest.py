"""Property tests draw new examples on every run, but the same ones on a build machine."""

from __future__ import annotations

import os
import signal

from hypothesis import settings

settings.register_profile("ci", derandomize=True, deadline=None)
settings.register_profile("shop", deadline=None)
settings.load_profile("ci" if os.environ.get("CI") else "shop")

# A shell that starts the tests in the background has Ctrl-C ignored, and so would every process
# that they start to be stopped by it.
if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)
