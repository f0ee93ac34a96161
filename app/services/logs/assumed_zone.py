"""The zone that local times were taken to be in where neither the file nor a person named one."""

from dataclasses import replace

from app.reading_files.log_table import LogTable


def with_assumed_zone(table: LogTable, zone: str) -> LogTable:
    """The log with a note that its zone was assumed, so that it is never taken for one that was told."""
    note = (
        f"The file holds local times and names no zone. They were assumed to be those of {zone}, the bench's own zone; "
        "nobody confirmed it."
    )
    return replace(table, notes=(*table.notes, note))
