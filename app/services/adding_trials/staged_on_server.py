"""Staged uploads in a database server, so that every machine of a bench finds them.

Each call has a transaction of its own without the lock of writers, so nobody waits for an upload. A file is sent in
pieces, and is there for others when all of them are.
"""

from collections.abc import Iterator
from contextlib import suppress
from datetime import datetime
from pathlib import Path

from sqlalchemy import Engine, delete, func, insert, select
from sqlalchemy.exc import DBAPIError

from app.errors import TooLarge
from app.storage.models.logs import StagedFile, StagedPiece

PIECE_BYTES = 1 << 20
MOST_LARGEST_WAITING = 10  # files of the largest size may wait together: unconfirmed uploads must not fill the disk


def send_file(engine: Engine, about: StagedFile, content: Path, largest_bytes: int) -> None:
    """Stores a file and what is known of it.

    largest_bytes : the upload limit
    Raises TooLarge if too much waits already.
    """
    with engine.begin() as connection, content.open("rb") as file:
        waiting = int(connection.scalar(select(func.coalesce(func.sum(StagedFile.size_bytes), 0))) or 0)
        most = MOST_LARGEST_WAITING * largest_bytes
        if waiting + about.size_bytes > most:
            raise TooLarge(
                f"Uploads of {waiting:,} bytes are already waiting for confirmation; at most {most:,} may wait. "
                "Save or discard some of them; each is discarded after a day.",
                field="log",
            )
        named = {column.name: getattr(about, column.name) for column in StagedFile.__table__.columns}
        connection.execute(insert(StagedFile).values(**named))
        place = 0
        while piece := file.read(PIECE_BYTES):
            connection.execute(insert(StagedPiece).values(token=about.token, place=place, content=piece))
            place += 1


def find_file(engine: Engine, token: str) -> StagedFile | None:
    """What is known of a staged file."""
    with engine.connect() as connection:
        row = connection.execute(select(StagedFile.__table__).where(StagedFile.token == token)).mappings().first()
    return None if row is None else StagedFile(**row)


def read_pieces(engine: Engine, token: str, most_bytes: int) -> Iterator[bytes]:
    """The first pieces of a file, as many as hold so many bytes."""
    with engine.connect() as connection:
        for place in range(-(-most_bytes // PIECE_BYTES)):
            asked = select(StagedPiece.content).where(StagedPiece.token == token, StagedPiece.place == place)
            piece = connection.scalar(asked)
            if piece is None:
                return
            yield bytes(piece)


def remove_file(engine: Engine, token: str) -> None:
    # called after the answer: a file that cannot be removed now is removed after a day
    with suppress(DBAPIError), engine.begin() as connection:
        connection.execute(delete(StagedFile).where(StagedFile.token == token))


def remove_older(engine: Engine, than: datetime) -> int:
    """Removes files staged before; returns their number."""
    with engine.begin() as connection:
        return connection.execute(delete(StagedFile).where(StagedFile.staged_at < than)).rowcount
