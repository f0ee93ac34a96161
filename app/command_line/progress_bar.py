"""Progress bar on standard error, only on a terminal."""

import sys
from collections.abc import Iterator
from contextlib import contextmanager

from app.services.store.progress import OnProgress


@contextmanager
def progress_bar() -> Iterator[OnProgress]:
    """Returns the callback that long work calls with (done, total, what)."""
    from rich.console import Console  # loaded when used: slow to load
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    bar = Progress(
        TextColumn("{task.description}", justify="left"),
        BarColumn(),
        MofNCompleteColumn(),
        TimeRemainingColumn(),
        console=Console(file=sys.stderr),
        disable=not sys.stderr.isatty(),
        transient=True,
    )
    with bar:
        task = bar.add_task("", total=None)

        def on_progress(done: int, total: int, what: str) -> None:
            bar.update(task, completed=done, total=total, description=what)

        yield on_progress
