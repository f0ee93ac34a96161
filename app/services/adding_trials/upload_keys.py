"""Keys of uploads: a request that is repeated with its key gives the trial that the first one became."""

import hashlib
import json
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from typing import Any

from sqlalchemy import delete
from sqlalchemy.orm import Session

from app.errors import UploadRepeated
from app.storage.models.logs import UploadKey

# Longer than a script on a desk waits for a server that is away over a holiday. Common practice, no source.
KEPT_FOR = timedelta(days=30)


def digest_of_upload(content: bytes, fields: Mapping[str, Any]) -> str:
    """SHA-256 of a file with the fields sent beside it; the order of the fields does not matter."""
    as_json = json.dumps(fields, sort_keys=True, default=str).encode()
    return hashlib.sha256(hashlib.sha256(content).digest() + as_json).hexdigest()


def trial_of_key(session: Session, key: str, sha256: str) -> int | None:
    """The trial that an upload with this key became; None for a new key and for no key.

    Raises UploadRepeated if the key came with another file or other fields.
    """
    known = session.get(UploadKey, key) if key else None
    if known is None:
        return None
    if known.sha256 != sha256:
        raise UploadRepeated(
            f"Trial {known.trial_id} was saved from this upload with another file or other fields. Nothing was saved "
            "now. To change the trial, edit it; to add another one, upload again, with a new key if you send one.",
            field="Idempotency-Key",
        )
    return known.trial_id


def keep_key(session: Session, key: str, sha256: str, trial_id: int, now: datetime | None = None) -> None:
    """Stores the key with the trial, in the same transaction, and forgets keys that are older than `KEPT_FOR`."""
    at = now or datetime.now(UTC)
    session.execute(delete(UploadKey).where(UploadKey.stored_at < at - KEPT_FOR))
    if key:
        session.add(UploadKey(idempotency_key=key, sha256=sha256, trial_id=trial_id, stored_at=at))
        session.flush()
