"""Nobody but this machine's browser with this run's token gets in, nothing reaches out of the visit's folder,
and a refused request changes nothing on disk.
"""

from __future__ import annotations

import hashlib
import io
import os
import re
import struct
import zlib
from collections.abc import Iterator
from pathlib import Path

import pytest
from correcting import SAID, record_of
from make_audio import write_audio
from reviewing import Answer, ask, record_with, served
from small_pack import write_pack

from voicenotes.model import Record
from voicenotes.review.door import MOST_FORM_BYTES, MOST_PHOTO_BYTES, Keys
from voicenotes.review.pages import VIEWS
from voicenotes.review.photos import kind_of
from voicenotes.visit import record_text
from voicenotes.vocabulary.load import load_pack

SCRIPT = "<script>document.title='taken'</script>"


def png(width: int = 3, height: int = 2) -> bytes:
    """A small picture (PNG specification, 5)."""
    rows = b"".join(b"\0" + b"\x40\x80\xc0" * width for _ in range(height))

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", head)
        + chunk(b"IDAT", zlib.compress(rows))
        + chunk(b"IEND", b"")
    )


@pytest.fixture(scope="module")
def visit(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A visit with two recordings, one a link that leads out, and files that are nobody's business."""
    home = tmp_path_factory.mktemp("door")
    folder = home / "visit"
    folder.mkdir()
    (home / "secret.txt").write_text("secret")
    write_audio(home / "outside.wav", "pcm_s16le", rate=16_000)
    write_audio(folder / "text 1", "pcm_s16le", rate=16_000, container="wav")
    (folder / "text 1").rename(folder / "one.wav")
    (folder / "two.wav").symlink_to(home / "outside.wav")
    (folder / f"photo-{'a' * 16}.jpg").symlink_to(home / "secret.txt")
    pack = load_pack(write_pack(home / "pack"))
    record = record_of(pack, (SAID[0], SAID[1] + f" the maker is {SCRIPT}."))
    text = record_text(record).replace('"text 1"', '"one.wav"').replace('"text 2"', '"two.wav"')
    (folder / "record.json").write_text(text)

    def longer(record: Record) -> Record:
        entries = tuple(entry.model_copy(update={"seconds": 3.0}) for entry in record.recordings)
        third = entries[0].model_copy(update={"file": "../secret.txt", "sha256": "f" * 64})
        return record.model_copy(update={"recordings": (*entries, third)})

    record_with(folder, longer)
    return folder


@pytest.fixture(scope="module")
def keys(visit: Path) -> Iterator[Keys]:
    with served(visit, load_pack(visit.parent / "pack")) as keys:
        yield keys


def everything(visit: Path) -> dict[str, str]:
    """Hashes of all that stands in and round the visit's folder; locks come and go."""
    return {
        str(path.relative_to(visit.parent)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(visit.parent.rglob("*"))
        if path.is_file() and not path.name.endswith("lock")
    }


@pytest.fixture
def untouched(visit: Path) -> Iterator[None]:
    before = everything(visit)
    yield
    assert everything(visit) == before


def confirming(keys: Keys) -> dict[str, str]:
    """The form that confirms the first finding, as the page has it."""
    page = ask(keys, "/").text
    found = re.search(
        r'value="confirm"><input type="hidden" name="check" value="([^"]+)"><input type="hidden" '
        r'name="state" value="([^"]+)"><input type="hidden" name="once" value="([^"]+)">',
        page,
    )
    assert found
    return {"do": "confirm", "check": found[1], "state": found[2], "once": found[3]}


def test_with_host_origin_and_token_the_page_comes(keys: Keys) -> None:
    answer = ask(keys, "/")
    assert answer.status == 200
    assert "<h1>Review of visit</h1>" in answer.text


# what is asked for -> the status
REFUSED: list[tuple[str, int, dict[str, object]]] = [
    ("another host, as after DNS rebinding", 421, {"host": "evil.example:80"}),
    ("localhost is another name", 421, {"host": "localhost:80"}),
    ("another port", 421, {"host": "127.0.0.1:1"}),
    ("no token", 401, {"drop": ("Cookie",)}),
    ("a wrong token", 401, {"cookie": "voicenotes-{port}=AAAA"}),
    ("a token of another run", 401, {"cookie": "voicenotes-1={cookie}"}),
    ("a cookie that is none", 401, {"cookie": ";;=;\x7f\xe9"}),
    ("from another site", 403, {"sec_fetch_site": "cross-site"}),
    ("from another port of this machine", 403, {"sec_fetch_site": "same-site"}),
    ("asked for by a script elsewhere", 403, {"origin": "http://evil.example"}),
    ("PUT", 405, {"method": "PUT"}),
    ("DELETE", 405, {"method": "DELETE"}),
    ("TRACE", 405, {"method": "TRACE"}),
]


@pytest.mark.parametrize(("what", "status", "how"), REFUSED, ids=[row[0] for row in REFUSED])
@pytest.mark.parametrize("path", ["/", "/audio/0", "/part/add", "/state", "/report/report.csv"])
def test_what_may_not_come_in_is_refused(
    keys: Keys, untouched: None, path: str, what: str, status: int, how: dict[str, object]
) -> None:
    values = {
        name: value.format(port=keys.port, cookie=keys.cookie) if isinstance(value, str) else value
        for name, value in how.items()
    }
    answer = ask(keys, path, **values)  # type: ignore[arg-type]
    assert answer.status == status
    assert_strict(answer)
    assert "spindle" not in answer.text


def test_a_request_without_a_host_is_none(keys: Keys, untouched: None) -> None:
    assert ask(keys, "/", drop=("Host",)).status == 400


# how a form is sent -> the status
FORGED: list[tuple[str, int, dict[str, object]]] = [
    ("without an origin", 403, {"drop": ("Origin",)}),
    ("from another site", 403, {"origin": "http://evil.example"}),
    ("from a sandboxed frame", 403, {"origin": "null"}),
    ("from another port", 403, {"origin": "http://127.0.0.1:1"}),
    ("from https", 403, {"origin": "https://{host}"}),
    ("from another site, says the browser", 403, {"sec_fetch_site": "cross-site"}),
    ("without the token", 401, {"drop": ("Cookie",)}),
    ("to another host", 421, {"host": "evil.example"}),
]


@pytest.mark.parametrize(("what", "status", "how"), FORGED, ids=[row[0] for row in FORGED])
@pytest.mark.parametrize("path", ["/do", "/photo"])
def test_a_forged_form_changes_nothing(
    keys: Keys, untouched: None, path: str, what: str, status: int, how: dict[str, object]
) -> None:
    values = {n: v.format(host=keys.host) if isinstance(v, str) else v for n, v in how.items()}
    body: object = confirming(keys) if path == "/do" else png()
    answer = ask(keys, path, "POST", body, **values)  # type: ignore[arg-type]
    assert answer.status == status


def test_the_token_opens_and_a_guess_does_not(keys: Keys, untouched: None) -> None:
    assert ask(keys, "/enter", drop=("Cookie",)).status == 200
    wrong = ask(keys, "/enter", "POST", b"guess", drop=("Cookie",))
    assert (wrong.status, "set-cookie" in wrong.headers) == (401, False)
    assert ask(keys, "/enter", "POST", keys.token.encode(), drop=("Cookie",), origin="null").status == 403
    right = ask(keys, "/enter", "POST", keys.token.encode(), drop=("Cookie",))
    assert right.status == 204
    cookie = right.headers["set-cookie"].lower()
    assert "httponly" in cookie and "samesite=strict" in cookie and keys.cookie.lower() in cookie


def test_each_start_has_fresh_secrets(keys: Keys) -> None:
    first, second = Keys(1), Keys(1)
    assert len({first.token, first.cookie, second.token, second.cookie, keys.token, keys.cookie}) == 6
    assert len(first.token) >= 43  # 32 random bytes
    assert first.cookie not in first.address and first.address.endswith("#" + first.token)


def test_the_server_is_on_loopback_only(keys: Keys) -> None:
    listening = [
        line.split()[1] for line in Path("/proc/net/tcp").read_text().splitlines()[1:] if " 0A " in line
    ]
    mine = [place for place in listening if int(place.split(":")[1], 16) == keys.port]
    assert mine == [f"0100007F:{keys.port:04X}"]


def assert_strict(answer: Answer) -> None:
    policy = answer.headers["content-security-policy"]
    assert (
        "default-src 'none'" in policy
        and "unsafe" not in policy
        and "*" not in policy
        and "http" not in policy
    )
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.headers["x-frame-options"] == "DENY"
    assert answer.headers["cache-control"] == "no-store"
    assert "server" not in answer.headers


@pytest.mark.parametrize("view", VIEWS)
def test_every_answer_is_strict_and_no_page_has_scripts_or_styles_in_it(keys: Keys, view: str) -> None:
    answer = ask(keys, f"/?view={view}")
    assert_strict(answer)
    assert re.findall(r"<script(?![^>]*\ssrc=\"/static/)", answer.text) == []
    assert re.findall(r"<style|\sstyle=|\son\w+=|javascript:", answer.text) == []
    outside = re.findall(r"(?:src|href|action|data-panel)=\"(?!/|#|\")[^\"]*", answer.text)
    assert outside == []


# --- what is said is text ---------------------------------------------------------------------------


@pytest.mark.parametrize("view", ["look", "places", "severity", "loose", "machine"])
def test_a_dictated_script_stays_text(keys: Keys, view: str) -> None:
    assert SCRIPT not in ask(keys, f"/?view={view}").text


@pytest.mark.parametrize(("format_", "kind", "starts"), [
    ("pdf", "application/pdf", b"%PDF-"),
    ("html", "text/html; charset=utf-8", b"<!DOCTYPE html>"),
    ("xlsx", "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet", b"PK"),
    ("csv", "text/csv; charset=utf-8", b"\xef\xbb\xbf"),
    ("md", "text/markdown; charset=utf-8", b"# Inspection report"),
    ("json", "application/json", b"{"),
])  # fmt: skip
def test_the_report_is_saved_and_nothing_is_written(
    keys: Keys, untouched: None, format_: str, kind: str, starts: bytes
) -> None:
    answer = ask(keys, f"/report/report.{format_}")
    assert (answer.status, answer.headers["content-type"]) == (200, kind)
    assert answer.headers["content-disposition"] == f"attachment; filename*=UTF-8''report%20visit.{format_}"
    assert answer.body.startswith(starts)
    assert SCRIPT not in answer.text or format_ in ("csv", "json")  # there it is no markup
    assert_strict(answer)


def test_a_dictated_script_is_shown(keys: Keys) -> None:
    pages = "".join(ask(keys, f"/?view={view}").text for view in ("loose", "machine", "look"))
    assert "&lt;script&gt;" in pages


# --- nothing out of the folder ------------------------------------------------------------------------

PATHS = [
    ("/audio/1", 403),  # a link that leads out
    ("/audio/2", 404),  # the record names ../secret.txt
    ("/audio/3", 404),
    ("/audio/99999999999999999999", 404),
    ("/audio/-1", 404),
    ("/audio/../secret.txt", 404),
    ("/photo/../secret.txt", 404),
    ("/photo/..%2fsecret.txt", 404),
    ("/photo/record.json", 404),
    ("/photo/one.wav", 404),
    (f"/photo/photo-{'a' * 16}.jpg", 404),  # a link
    (f"/photo/photo-{'b' * 16}.jpg", 404),
    ("/static/../app.py", 404),
    ("/static/..%2fapp.py", 404),
    ("/static/%2e%2e/door.py", 404),
    ("/static//etc/passwd", 404),
    ("/report/report.docx", 404),
    ("/report/record.json", 404),
    ("/report/..%2f..%2fsecret.txt", 404),
    ("/report/report.pdf%00.html", 404),
    ("/report/", 404),
    ("/record.json", 404),
    ("/.voicenotes/lock", 404),
    ("/part/page", 404),
    ("/part/..%2f..%2fapp", 404),
    ("/?view=../../app", 404),
    ("/words/7?start=x&end=1", 422),
]


@pytest.mark.parametrize(("path", "status"), PATHS)
def test_no_path_reaches_out_of_the_folder(keys: Keys, untouched: None, path: str, status: int) -> None:
    answer = ask(keys, path)
    assert answer.status == status
    assert "secret" not in answer.text
    assert not answer.body.startswith(b"RIFF")


def test_a_recording_in_the_folder_is_given(keys: Keys) -> None:
    answer = ask(keys, "/audio/0")
    assert (answer.status, answer.headers["content-type"]) == (200, "audio/wav")
    assert answer.body.startswith(b"RIFF")


# the Range that is asked for -> status and the bytes that come
RANGES = [
    ("bytes=0-9", 206, (0, 10)),
    ("bytes=100-199", 206, (100, 200)),
    ("bytes=95990-", 206, (95_990, None)),
    ("bytes=-10", 206, (-10, None)),
    ("bytes=0-99999999999", 206, (0, None)),
    ("bytes=99999999999-", 416, None),
    ("bytes=-0", 416, None),
    ("bytes=9-0", 200, (0, None)),
    ("bytes=0-1,4-5", 200, (0, None)),
    ("lines=0-1", 200, (0, None)),
    ("bytes=x-y", 200, (0, None)),
]


@pytest.mark.parametrize(("asked", "status", "part"), RANGES)
@pytest.mark.parametrize("path", ["/audio/0", "/audio/0?as=wav"])
def test_parts_of_a_recording(
    keys: Keys, visit: Path, path: str, asked: str, status: int, part: tuple[int, int | None] | None
) -> None:
    whole = ask(keys, path).body
    answer = ask(keys, path, range=asked)
    assert answer.status == status
    if part is None:
        assert answer.headers["content-range"] == f"bytes */{len(whole)}"
        return
    assert answer.body == whole[part[0] : part[1]]
    assert int(answer.headers["content-length"]) == len(answer.body)
    assert answer.headers["accept-ranges"] == "bytes"
    if path == "/audio/0":
        assert whole == (visit / "one.wav").read_bytes()


# --- what is sent -----------------------------------------------------------------------------------

FORMS: list[tuple[str, dict[str, str]]] = [
    ("nothing", {}),
    ("no such action", {"do": "format"}),
    ("no such check", {"do": "confirm", "check": "no.such"}),
    ("no such outcome", {"do": "outcome", "verdict": "lovely"}),
    ("a severity that is none", {"do": "outcome", "verdict": "defect terrible"}),
    ("no such remark", {"do": "move", "remark": "0123456789abcdef", "to": ""}),
    ("no such correction", {"do": "undo", "id": "12345678"}),
    ("keep what is not there", {"do": "keep", "id": "12345678"}),
    ("an id that is a path", {"once": "../../etc/passwd"}),
    ("an id that is too long", {"once": "a" * 65}),
    ("a wording too long", {"do": "wording", "text": "x" * 2001}),
    ("no wording", {"do": "wording", "text": "  "}),
    ("a value that is none", {"do": "reading", "heard": "", "said": "about three"}),
    ("a photo that is a path", {"do": "add", "title": "x", "photos": "../secret.txt"}),
    ("a place that is none", {"do": "add", "title": "x", "check": "", "station": "cellar"}),
    ("no such fact", {"do": "fact", "fact": "colour", "value": "red"}),
    ("no such fitting", {"do": "fitting", "fitting": "wings", "fitted": "yes"}),
    ("a fitting that is neither", {"do": "fitting", "fitting": "tailstock", "fitted": "perhaps"}),
    ("a settled gap that is none", {"do": "settle", "reason": "x", "check": "head.noise"}),
]


@pytest.mark.parametrize(("what", "fields"), FORMS, ids=[row[0] for row in FORMS])
def test_a_form_that_says_nothing_is_refused(
    keys: Keys, untouched: None, what: str, fields: dict[str, str]
) -> None:
    sent = {**confirming(keys), **fields} if fields else {}
    answer = ask(keys, "/do", "POST", sent)
    assert answer.status == 422
    assert "problem" in answer.text


def test_a_form_of_an_old_page_is_refused(keys: Keys, untouched: None) -> None:
    answer = ask(keys, "/do", "POST", {**confirming(keys), "state": "0" * 16})
    assert answer.status == 409
    assert "another window" in answer.text


def test_too_much_is_refused(keys: Keys, untouched: None) -> None:
    form = {**confirming(keys), "more": "x" * MOST_FORM_BYTES}
    assert ask(keys, "/do", "POST", form).status == 413
    many = "&".join(f"field{n}=1" for n in range(200)).encode()
    assert ask(keys, "/do", "POST", many).status == 422
    assert ask(keys, "/photo", "POST", png() + bytes(MOST_PHOTO_BYTES)).status == 413


NO_PHOTOS: list[tuple[str, bytes]] = [
    ("nothing", b""),
    ("a page", b"<html><script>alert(1)</script></html>"),
    ("a drawing with a script", b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>'),
    ("a program", b"\x7fELF" + bytes(100)),
    ("a film", b"\x00\x00\x00\x18ftypmp42" + bytes(100)),
    ("an animation", b"GIF89a" + bytes(100)),
    ("the first bytes of a photo", b"\xff\xd8\xff"),
    ("a photo without a frame", b"\xff\xd8\xff\xe0\x00\x04ab\xff\xd9" + bytes(20)),
    ("a picture of no size", png(0, 0)),
    ("a picture larger than any", png()[:16] + struct.pack(">II", 1_000_000, 1_000_000) + png()[24:]),
    ("sound in the same wrapping", b"RIFF\x24\x00\x00\x00WAVEfmt " + bytes(40)),
]


@pytest.mark.parametrize(("what", "content"), NO_PHOTOS, ids=[row[0] for row in NO_PHOTOS])
def test_what_is_no_photo_is_not_taken(keys: Keys, untouched: None, what: str, content: bytes) -> None:
    assert ask(keys, "/photo", "POST", content).status == 415


def test_a_photo_gets_a_name_of_our_own(keys: Keys, visit: Path) -> None:
    answer = ask(keys, "/photo", "POST", png())
    name = f"photo-{hashlib.sha256(png()).hexdigest()[:16]}.png"
    assert (answer.status, answer.text) == (200, f'{{"name":"{name}"}}')
    assert (visit / name).read_bytes() == png()
    shown = ask(keys, f"/photo/{name}")
    assert (shown.status, shown.headers["content-type"], shown.body) == (200, "image/png", png())
    (visit / name).unlink()


@pytest.mark.parametrize(
    ("kind", "options"), [("JPEG", {}), ("PNG", {}), ("WEBP", {}), ("WEBP", {"lossless": True})]
)
def test_photos_as_a_library_writes_them_are_known(kind: str, options: dict[str, bool]) -> None:
    image = pytest.importorskip("PIL.Image")
    written = io.BytesIO()
    image.new("RGB", (320, 200), "teal").save(written, kind, **options)
    assert kind_of(written.getvalue()) == {"JPEG": "jpg", "PNG": "png", "WEBP": "webp"}[kind]


def test_a_photo_never_goes_through_a_link(keys: Keys, visit: Path) -> None:
    content = png(5, 5)
    name = f"photo-{hashlib.sha256(content).hexdigest()[:16]}.png"
    (visit / name).symlink_to(visit.parent / "secret.txt")
    assert ask(keys, "/photo", "POST", content).status == 200
    assert (visit.parent / "secret.txt").read_text() == "secret"
    assert (visit / name).read_bytes() == content and not (visit / name).is_symlink()
    (visit / name).unlink()


def test_a_journal_that_is_a_link_is_refused(keys: Keys, visit: Path) -> None:
    form = confirming(keys)
    (visit / "corrections.jsonl").symlink_to(visit.parent / "secret.txt")
    try:
        answer = ask(keys, "/do", "POST", form)
        assert answer.status == 500 and "is a link" in answer.text
        assert (visit.parent / "secret.txt").read_text() == "secret"
    finally:
        (visit / "corrections.jsonl").unlink()


def test_without_room_the_page_says_so(keys: Keys, visit: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(handle: int) -> None:
        raise OSError(28, os.strerror(28))

    form = confirming(keys)
    before = (visit / "corrections.jsonl").read_bytes() if (visit / "corrections.jsonl").exists() else b""
    with monkeypatch.context() as patch:
        patch.setattr(os, "fsync", full)
        answer = ask(keys, "/do", "POST", form)
    assert answer.status == 507 and "no room" in answer.text
    assert (visit / "corrections.jsonl").read_bytes() == before


def test_a_form_sent_twice_counts_once(keys: Keys, visit: Path) -> None:
    form = confirming(keys)
    answers = [ask(keys, "/do", "POST", form).status for _ in range(3)]
    assert answers == [200, 200, 200]
    assert (visit / "corrections.jsonl").read_bytes().count(form["once"].encode()) == 1
