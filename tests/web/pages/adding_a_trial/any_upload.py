"""Sends any bytes as a log through page and API, and checks each response."""

import re
from collections import Counter
from dataclasses import dataclass, field

from fastapi.testclient import TestClient

STORED, THERE_ALREADY, REFUSED = 201, 409, 422
_MISTAKE = re.compile(r'class="(?:error|problems)')


@dataclass
class Uploads:
    """What became of the files sent by the API, and of those sent by the page; the bench has a room with the id 1."""

    client: TestClient
    by_api: Counter[int] = field(default_factory=Counter)
    by_page: Counter[str] = field(default_factory=Counter)

    def send(self, content: bytes, name: str = "log.csv") -> int:
        """By the API: stored, already present, or refused with the file's name and a reason."""
        fields = {"kind": "empty room", "room_id": "1"}
        answer = self.client.post("/api/trials", data=fields, files={"log": (name, content, "text/csv")})
        self.by_api[answer.status_code] += 1
        assert answer.status_code in (STORED, THERE_ALREADY, REFUSED), (answer.status_code, answer.text[:500])
        if answer.status_code == STORED:
            trial = answer.json()["id"]
            assert self.client.get(f"/api/trials/{trial}/log").content == content
            assert self.client.get(f"/trials/{trial}").status_code == 200
        else:
            problem = answer.json()
            assert len(problem["detail"]) > 40
            assert problem["detail"].isprintable(), problem["detail"]
        return answer.status_code

    def preview(self, content: bytes, name: str = "log.csv") -> str:
        """By the page: "shown" where the preview shows readings, "refused" where it says why not."""
        sent = self.client.post("/trials/add", files={"log": (name, content, "text/csv")})
        if sent.status_code == REFUSED:
            became = "refused"
            assert _MISTAKE.search(sent.text)
        else:
            assert sent.status_code == 303, sent.status_code
            page = self.client.get(sent.headers["location"])
            assert page.status_code in (200, REFUSED), page.status_code
            became = "shown" if page.status_code == 200 else "refused"
            if became == "refused":
                assert _MISTAKE.search(page.text)
            self.client.post(f"{sent.headers['location'].split('?')[0]}/discard")
        self.by_page[became] += 1
        return became
