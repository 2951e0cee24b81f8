"""What the user sees while work goes on: a status line on a terminal, plain lines elsewhere."""

from __future__ import annotations

import sys
import time
from types import TracebackType

#: Seconds between two looks at how far a step is, on a terminal and elsewhere.
LIVE_S, PLAIN_S = 0.2, 10.0


class Progress:
    """Tell on stderr what is being done; silent when asked.

    On a terminal one line is rewritten; elsewhere each step is a line of its own.
    """

    def __init__(self, *, quiet: bool) -> None:
        self.quiet = quiet
        self.live = sys.stderr is not None and sys.stderr.isatty()
        self._width = 0
        self._step, self._began, self._next = "", 0.0, 0.0

    def __call__(self, text: str) -> None:
        """Show one step."""
        if self.quiet or sys.stderr is None:
            return
        self._step, self._began = text, time.monotonic()
        self._next = self._began + (LIVE_S if self.live else PLAIN_S)
        self._show(text)

    def points(self, done: int, total: int) -> None:
        """Show how far the step is: points looked at, rate, and time left at that rate."""
        now = time.monotonic()
        if self.quiet or sys.stderr is None or now < self._next or not done:
            return
        self._next = now + (LIVE_S if self.live else PLAIN_S)
        rate = done / (now - self._began)
        left_s = (total - done) / rate
        self._show(
            f"{self._step}: {done / 1e6:.1f} of {total / 1e6:.1f} million points, "
            f"{rate / 1e6:.1f} million/s, {left_s:.0f} s left"
        )

    def _show(self, text: str) -> None:
        from accuracy.reports.words import printable

        text = printable(text)
        encoding = sys.stderr.encoding or "utf-8"
        text = text.encode(encoding, "replace").decode(encoding)
        if self.live:
            text = text[:100]
            sys.stderr.write("\r" + text.ljust(self._width))
            self._width = len(text)
        else:
            sys.stderr.write(text + "\n")
        sys.stderr.flush()

    def __enter__(self) -> Progress:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Clear the status line."""
        if self.live and self._width:
            sys.stderr.write("\r" + " " * self._width + "\r")
            sys.stderr.flush()
