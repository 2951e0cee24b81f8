"""What the user sees while work goes on: a status line on a terminal, plain lines elsewhere."""

from __future__ import annotations

import sys
from types import TracebackType


class Progress:
    """Tell on stderr what is being done; silent when asked.

    On a terminal one line is rewritten; elsewhere each step is a line of its own.
    """

    def __init__(self, *, quiet: bool) -> None:
        self.quiet = quiet
        self.live = sys.stderr is not None and sys.stderr.isatty()
        self._width = 0

    def __call__(self, text: str) -> None:
        """Show one step."""
        if self.quiet or sys.stderr is None:
            return
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
