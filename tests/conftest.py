"""For the whole suite: Ctrl-C works in what the tests start, even where the suite was started in the background."""

from __future__ import annotations

import signal

if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)
