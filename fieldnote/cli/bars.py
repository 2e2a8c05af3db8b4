"""The progress bar of a command: on standard error, where somebody is watching it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager

from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

_LONGEST = 40


@contextmanager
def bar(first: str = "") -> Iterator[Callable[[float, str], None]]:
    """One bar with the time left; call what it gives with the share done (0 to 1) and what is being done."""
    console = Console(stderr=True)
    columns = (TextColumn("{task.description}", markup=False), BarColumn(), TimeRemainingColumn())
    with Progress(*columns, console=console, transient=True, disable=not console.is_terminal) as progress:
        task = progress.add_task(first, total=1.0)

        def tell(share: float, doing: str) -> None:
            progress.update(task, completed=share, description=doing[:_LONGEST])

        yield tell
