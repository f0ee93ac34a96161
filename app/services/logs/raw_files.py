"""Raw files: the bytes of everything uploaded, identical files once."""

from datetime import datetime

from sqlalchemy.orm import Session

from app.storage.models.logs import RawFile


def keep_raw_file(session: Session, sha256: str, content: bytes, at: datetime) -> None:
    """Stores the bytes, unless the store holds them already."""
    if session.get(RawFile, sha256) is None:
        session.add(RawFile(sha256=sha256, size_bytes=len(content), content=content, stored_at=at))
        session.flush()
