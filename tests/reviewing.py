"""What tests of the review page share: visits to review, a server with one of them, and a browser."""

from __future__ import annotations

import contextlib
import http.client
import shutil
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

import pytest
from stand_in_engine import StandInEngine

from voicenotes.files import sha256_of
from voicenotes.findings.read import transcript_of_text
from voicenotes.hearing.kept import Ear, Heard, keep
from voicenotes.model import Evidence, Record, RecordingEntry, Transcript, Untagged, Word
from voicenotes.review.door import Keys
from voicenotes.review.serve import ready
from voicenotes.visit import load_record, record_text
from voicenotes.vocabulary.schema import Pack

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

DEMO = Path(__file__).parent.parent / "demo_recordings"
WCAG_AA = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
CHROMIUM_OPTIONS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
    "--mute-audio",
]


def demo_visit(folder: Path, pack: Pack) -> Path:
    """The demo's recordings with a record of their texts, spread over their lengths, and kept transcripts."""
    from voicenotes.audio.container import read_label
    from voicenotes.findings.read import read_transcripts

    sounds = sorted(path for path in DEMO.iterdir() if path.name.startswith("2024"))
    texts = sorted((DEMO / "texts").glob("*.txt"))
    folder.mkdir(parents=True)
    ear = Ear(StandInEngine("", name="texts", model=None), "any", folder / ".voicenotes")
    found = []
    for sound, text in zip(sounds, texts, strict=True):
        shutil.copy2(sound, folder)
        seconds = read_label(sound).seconds or 0.0
        words = _spread(text.read_text(encoding="utf-8"), seconds)
        transcript = Transcript(words=words, engine="texts", seconds=seconds)
        sha256 = sha256_of(sound) or ""
        keep(ear, sha256, Heard(transcript=transcript, seconds=seconds, sha256=sha256))
        when = sound.stem.replace(" ", "T")[:10] + "T" + sound.stem[11:].replace("-", ":")
        entry = RecordingEntry(
            file=sound.name,
            sha256=sha256,
            seconds=seconds,
            recorded_at=when,
            engine="texts",
            words=len(words),
        )
        found.append((entry, transcript))
    (folder / "record.json").write_text(record_text(read_transcripts(found, pack)), encoding="utf-8")
    return folder


def _spread(text: str, seconds: float) -> tuple[Word, ...]:
    """A text's words, evenly over a recording but for half a second at each end."""
    said = transcript_of_text(text)
    scale = (seconds - 1.0) / said.seconds
    return tuple(
        w.model_copy(update={"start": round(0.5 + w.start * scale, 3), "end": round(0.5 + w.end * scale, 3)})
        for w in said.words
    )


def large_visit(folder: Path, pack: Pack, remarks: int) -> Path:
    """A visit without sound and with so many remarks, four in five of them evidence, over all checks."""
    folder.mkdir(parents=True)
    checks = [check.id for check in pack.checks]
    evidence: dict[str, list[Evidence]] = {}
    untagged = []
    for number in range(remarks):
        start = number * 3.0
        name, quote = f"memo {number // 500}.m4a", f"remark number {number} says something about it"
        at = {"recording": name, "start": start % 1500, "end": start % 1500 + 2.5, "quote": quote}
        if number % 5 == 4:
            untagged.append(Untagged(**at))
            continue
        polarity = ("good", "bad", "good", "named")[number % 4]
        evidence.setdefault(checks[number % len(checks)], []).append(
            Evidence(**at, basis="seen", polarity=polarity, confidence=0.5 + number % 50 / 100, why="made up")  # type: ignore[arg-type]
        )
    from voicenotes.corrections.settling import settled_again
    from voicenotes.findings.gaps import gaps_of
    from voicenotes.findings.read import read_text

    empty = read_text("", pack)
    of_pack = {check.id: check for check in pack.checks}
    found = tuple(
        settled_again(finding, evidence.get(finding.id, []), of_pack[finding.id], None)
        for finding in empty.checks
    )
    entries = tuple(
        RecordingEntry(file=f"memo {n}.m4a", sha256=f"{n:064x}", seconds=1503.0, engine="texts", words=4000)
        for n in range(max(1, -(-remarks // 500)))
    )
    record = empty.model_copy(
        update={
            "recordings": entries,
            "checks": found,
            "untagged": tuple(untagged),
            "gaps": gaps_of(found),
        }
    )
    (folder / "record.json").write_text(record_text(record), encoding="utf-8")
    return folder


def record_with(folder: Path, change: Callable[[Record], Record]) -> None:
    """Write a visit's record anew, changed."""
    (folder / "record.json").write_text(record_text(change(load_record(folder))), encoding="utf-8")


@contextlib.contextmanager
def served(folder: Path, pack: Pack, who: str = "Kim") -> Iterator[Keys]:
    """A server with the visit, until the block is left."""
    with ready(folder, pack, who) as (server, bound, keys):
        thread = threading.Thread(target=server.run, kwargs={"sockets": [bound]}, daemon=True)
        thread.start()
        while not server.started:
            time.sleep(0.01)
        try:
            yield keys
        finally:
            server.should_exit = True
            thread.join(10)


@dataclass(frozen=True)
class Answer:
    """What the server answered."""

    status: int
    headers: Mapping[str, str]
    body: bytes

    @property
    def text(self) -> str:
        return self.body.decode("utf-8", "replace")


def ask(
    keys: Keys,
    path: str,
    method: str = "GET",
    body: bytes | Mapping[str, str] | None = None,
    drop: tuple[str, ...] = (),
    **headers: str,
) -> Answer:
    """One request as the page would send it; `headers` with _ for - replace those, `drop` leaves some out."""
    sent = {
        "Host": keys.host,
        "Cookie": f"{keys.cookie_name}={keys.cookie}",
        "Accept": "application/json",
    }
    if method == "POST":
        sent |= {"Origin": keys.origin, "Content-Type": "application/x-www-form-urlencoded"}
    sent |= {name.replace("_", "-").title(): value for name, value in headers.items()}
    for name in drop:
        sent.pop(name, None)
    content = urlencode(body).encode() if isinstance(body, Mapping) else body
    connection = http.client.HTTPConnection("127.0.0.1", keys.port, timeout=20)
    try:
        connection.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
        for name, value in sent.items():
            connection.putheader(name, value)
        if content is not None and "Content-Length" not in sent:
            connection.putheader("Content-Length", str(len(content)))
        connection.endheaders()
        if content:
            with contextlib.suppress(BrokenPipeError, ConnectionResetError):
                connection.send(content)
        got = connection.getresponse()
        return Answer(got.status, {k.lower(): v for k, v in got.getheaders()}, got.read())
    finally:
        connection.close()


@contextlib.contextmanager
def chromium() -> Iterator[Browser]:
    """Debian's Chromium under Playwright; the test is skipped where either is missing."""
    playwright: Any = pytest.importorskip("playwright.sync_api")
    program = shutil.which("chromium") or shutil.which("chromium-browser")
    if program is None:
        pytest.skip("needs chromium: apt-get install chromium")
    with playwright.sync_playwright() as running:
        browser = running.chromium.launch(executable_path=program, args=CHROMIUM_OPTIONS)
        try:
            yield browser
        finally:
            browser.close()


def violations(page: Page) -> list[str]:
    """What axe-core finds against WCAG 2.2 AA and its own good practice."""
    base: Any = pytest.importorskip("axe_playwright_python.base")
    if not page.evaluate("'axe' in window"):
        page.evaluate((Path(base.__file__).parent / "axe.min.js").read_text(encoding="utf-8"))
    found = page.evaluate("tags => axe.run(document, {runOnly: tags, resultTypes: ['violations']})", WCAG_AA)
    return [f"{v['id']}: {v['nodes'][0]['html'][:150]}" for v in found["violations"]]
