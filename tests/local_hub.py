"""A hub on this machine: answers what the Hugging Face hub answers for one model, and fails as asked.

The answers follow huggingface.co/docs/hub/api ("GET /api/models/{repo_id}", with `blobs=true` each file's
size, `blobId` and `lfs`) and the resolve addresses with ETag and Range, as huggingface_hub reads them.
"""

from __future__ import annotations

import hashlib
import json
import re
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

COMMIT = "0123456789abcdef0123456789abcdef01234567"


@dataclass
class LocalHub:
    """The files of a repository, and how the hub misbehaves; `asked` are the requests that came."""

    repository: str
    files: dict[str, bytes]
    endpoint: str = ""
    asked: list[tuple[str, int]] = field(default_factory=list)  # file name and first byte
    breaks_off_at: int | None = None  # closes the line after so many bytes of model.bin
    answers_no_more: bool = False
    wrong_byte: bool = False  # serves model.bin with one bit turned
    knows_ranges: bool = True
    status: int = 200  # of the model's description
    hides: frozenset[str] = frozenset()  # fields of a file that it doesn't tell

    def description(self) -> dict[str, Any]:
        return {
            "_id": "0", "id": self.repository, "modelId": self.repository, "sha": COMMIT, "private": False,
            "siblings": [self._sibling(name, content) for name, content in self.files.items()],
        }  # fmt: skip

    def _sibling(self, name: str, content: bytes) -> dict[str, Any]:
        blob = hashlib.sha1(b"blob %d\0" % len(content) + content).hexdigest()
        told: dict[str, Any] = {"rfilename": name, "size": len(content), "blobId": blob}
        if name == "model.bin":
            sha256 = hashlib.sha256(content).hexdigest()
            told["lfs"] = {"sha256": sha256, "size": len(content), "pointerSize": 134}
        return {key: value for key, value in told.items() if key not in self.hides}


@contextmanager
def serving(model: Path, repository: str) -> Iterator[LocalHub]:
    """A hub that has the files of a folder, on a free port of this machine, until the block ends."""
    hub = LocalHub(repository, {path.name: path.read_bytes() for path in sorted(model.iterdir())})
    hub.files["README.md"] = b"# not wanted"
    hub.files["../outside.json"] = b"{}"

    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def do_GET(self) -> None:
            path = self.path.partition("?")[0]
            if hub.answers_no_more:
                self.close_connection = True
            elif path == f"/api/models/{hub.repository}" and hub.status == 200:
                self._answer(
                    200, json.dumps(hub.description()).encode(), {"Content-Type": "application/json"}
                )
            elif path.startswith("/api/"):
                headers = {"X-Error-Code": "RepoNotFound"} if hub.status in (200, 401, 404) else {}
                self._answer(hub.status if hub.status != 200 else 404, b"{}", headers)
            elif found := re.fullmatch(rf"/{hub.repository}/resolve/{COMMIT}/([^/]+)", path):
                self._file(found[1])
            else:
                self._answer(404, b"", {"X-Error-Code": "EntryNotFound"})

        def _file(self, name: str) -> None:
            content = bytearray(hub.files[name])
            if hub.wrong_byte and name == "model.bin":
                content[len(content) // 2] ^= 1
            asked = re.fullmatch(r"bytes=(\d+)-", self.headers.get("Range") or "")
            first = int(asked[1]) if asked and hub.knows_ranges else 0
            hub.asked.append((name, first))
            headers = {"ETag": f'"{hashlib.sha256(content).hexdigest()}"'}
            if first:
                headers["Content-Range"] = f"bytes {first}-{len(content) - 1}/{len(content)}"
            part = bytes(content[first:])
            if name == "model.bin" and hub.breaks_off_at is not None:
                self._answer(206 if first else 200, part, headers, hub.breaks_off_at)
                hub.answers_no_more = True
            else:
                self._answer(206 if first else 200, part, headers)

        def _answer(
            self, status: int, content: bytes, headers: dict[str, str], upto: int | None = None
        ) -> None:
            self.send_response(status)
            for key, value in {**headers, "Content-Length": str(len(content))}.items():
                self.send_header(key, value)
            self.end_headers()
            self.wfile.write(content[:upto])
            if upto is not None:
                self.close_connection = True

        def log_message(self, *_: object) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    hub.endpoint = f"http://127.0.0.1:{server.server_address[1]}"
    thread = threading.Thread(target=server.serve_forever, args=(0.05,), daemon=True)
    thread.start()
    try:
        yield hub
    finally:
        server.shutdown()
        server.server_close()
        thread.join()
