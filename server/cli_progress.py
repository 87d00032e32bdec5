"""Progress bars of the commands: on a terminal only, and never in what they print."""

import sys
from collections.abc import Iterator
from contextlib import contextmanager

from server.copies import Progress, no_progress


@contextmanager
def shown(text: str) -> Iterator[Progress]:
    """Show a bar on a terminal, with a text that says what is being done."""
    if not sys.stderr.isatty():
        yield no_progress
        return
    from rich.console import Console
    from rich.progress import Progress as Bar

    with Bar(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(text, total=None)
        yield lambda done, total: bar.update(task, completed=done, total=total)
