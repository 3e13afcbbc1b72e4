"""A visitor without script: follows redirects, sends forms with their token, waits for work."""

from __future__ import annotations

import re
import time

from starlette.testclient import TestClient

BASE = "http://127.0.0.1:8571"


class Visitor:
    """A visitor without script: follows redirects, sends forms with their token, waits for work."""

    def __init__(self, client: TestClient) -> None:
        self.client = client
        self.token = re.search(r'name="form_token" value="([^"]+)"', self.get("/").text)[1]

    def get(self, path: str, **more):
        return self.client.get(path, **more)

    def post(self, path: str, data: dict | None = None, files=None, **more):
        return self.client.post(path, data={"form_token": self.token, **(data or {})}, files=files, **more)

    def settle(self, answer):
        """Reload as the page without script does until work has ended."""
        until = time.monotonic() + 240  # a busy machine
        while time.monotonic() < until:
            if 'http-equiv="refresh"' not in answer.text:
                return answer
            time.sleep(0.1)
            answer = self.get(answer.url.path)
        raise AssertionError("the work did not end")

    def bring(self, *files: tuple[str, bytes | str], field: str = "files", **data):
        """Bring files of readings; the page of how they were understood."""
        sent = [(field, (name, content)) for name, content in files]
        return self.settle(self.post("/bring", data, files=sent))
