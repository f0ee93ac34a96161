"""Runs the scheduled backups in a server process."""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress

from anyio import to_thread

from app.services.store.scheduled_backups import backup_if_due
from app.settings import Settings

# The first look comes some minutes after the start, when people have their pages.
_FIRST_AFTER_S = 300.0
_LOOK_EVERY_S = 600.0


@asynccontextmanager
async def backups_scheduled(settings: Settings) -> AsyncIterator[None]:
    """Looks every ten minutes whether a backup is due, until the block ends."""
    task = asyncio.create_task(_run(settings))
    try:
        yield
    finally:
        task.cancel()
        with suppress(asyncio.CancelledError):
            await task


async def _run(settings: Settings) -> None:
    await asyncio.sleep(_FIRST_AFTER_S)
    while True:
        await to_thread.run_sync(backup_if_due, settings)
        await asyncio.sleep(_LOOK_EVERY_S)
