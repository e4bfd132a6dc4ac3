"""Who may come in: only a browser on this machine that was given this run's token.

Every request passes `Door`: its Host must be this server's own address, it may not come from another site,
what changes anything must name this site as its origin, and all but the way in needs the cookie that the
token was changed for. Answers carry headers that keep browsers from loading, running or framing all else.
"""

from __future__ import annotations

import hmac
import secrets
from dataclasses import dataclass, field
from http.cookies import CookieError, SimpleCookie
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

LOOPBACK = "127.0.0.1"
# Pages are forms of a few lines; a photo is sent by itself.
MOST_FORM_BYTES, MOST_PHOTO_BYTES = 200_000, 20_000_000
PHOTO_PATH = "/photo"
OPEN_PATHS = frozenset(("/enter", "/static/enter.js", "/static/review.css", "/favicon.ico"))
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; media-src 'self'; "
    "connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
HEADERS = (
    (b"content-security-policy", POLICY.encode()),
    (b"x-content-type-options", b"nosniff"),
    (b"x-frame-options", b"DENY"),
    (b"referrer-policy", b"same-origin"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"cache-control", b"no-store"),
)


@dataclass(frozen=True)
class Keys:
    """This run's secrets, fresh at each start: the token of the address, and what the cookie holds."""

    port: int
    token: str = field(default_factory=lambda: secrets.token_urlsafe(32))
    cookie: str = field(default_factory=lambda: secrets.token_urlsafe(32))

    @property
    def host(self) -> str:
        """The only Host that is answered."""
        return f"{LOOPBACK}:{self.port}"

    @property
    def origin(self) -> str:
        """The only origin that may change anything."""
        return f"http://{self.host}"

    @property
    def address(self) -> str:
        """The address to open; a browser sends nobody what stands behind the #."""
        return f"{self.origin}/enter#{self.token}"

    @property
    def cookie_name(self) -> str:
        """Cookies of one host are shared by its ports: each server has a name of its own."""
        return f"voicenotes-{self.port}"


class Door:
    """ASGI middleware that refuses what may not come in, and puts the headers on every answer."""

    def __init__(self, app: ASGIApp, keys: Keys) -> None:
        self.app, self.keys = app, keys

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            await send({"type": "websocket.close", "code": 1008})
            return
        refused = self.refusal(scope)
        if refused:
            await _refuse(send, *refused)
            return
        limit = MOST_PHOTO_BYTES if scope["path"] == PHOTO_PATH else MOST_FORM_BYTES
        body = await _body(receive, limit)
        if body is None:
            await _refuse(send, 413, f"more than {limit:,} bytes")
            return
        await self.app(scope, _again(body, receive), _with_headers(send))

    def refusal(self, scope: Scope) -> tuple[int, str] | None:
        """Status and line for a request that may not come in; None for one that may."""
        headers = _single(scope["headers"])
        if headers is None or headers.get("host") != self.keys.host:
            return 421, "this server answers under its own address only"
        if scope["method"] not in ("GET", "HEAD", "POST"):
            return 405, "only GET, HEAD and POST"
        posts = scope["method"] == "POST"
        if posts and headers.get("origin") != self.keys.origin:
            return 403, "sent from another site"
        if not posts and headers.get("origin", self.keys.origin) != self.keys.origin:
            return 403, "asked for by another site"
        if headers.get("sec-fetch-site", "none") not in ("same-origin", "none") and (
            posts or scope["path"] not in OPEN_PATHS
        ):
            return 403, "asked for by another site"
        if scope["path"] in OPEN_PATHS:
            return None
        if not hmac.compare_digest(self._cookie(headers.get("cookie", "")), self.keys.cookie.encode()):
            return 401, "open the address that `voicenotes review` printed"
        return None

    def _cookie(self, header: str) -> bytes:
        try:
            morsel = SimpleCookie(header).get(self.keys.cookie_name)
        except CookieError:
            return b""
        return morsel.value.encode("utf-8", "replace") if morsel else b""


async def _body(receive: Receive, limit: int) -> bytes | None:
    """What a request carries; None where that is more than `limit` bytes, however it was announced."""
    body: bytes = b""
    while True:
        message = await receive()
        body += message.get("body", b"")
        if len(body) > limit:
            return None
        if message["type"] != "http.request" or not message.get("more_body"):
            return body


def _again(body: bytes, receive: Receive) -> Receive:
    """Gives a body that was read once more, and then what else comes."""
    given = False

    async def receiving() -> Message:
        nonlocal given
        if given:
            return await receive()
        given = True
        return {"type": "http.request", "body": body, "more_body": False}

    return receiving


def _single(raw: list[tuple[bytes, bytes]]) -> dict[str, str] | None:
    """Headers by name; None where one that decides stands there twice."""
    found: dict[str, str] = {}
    for name, value in raw:
        key = name.decode("latin-1").lower()
        if key in found and key in ("host", "origin", "sec-fetch-site", "content-length"):
            return None
        found[key] = f"{found[key]}; {value.decode('latin-1')}" if key in found else value.decode("latin-1")
    return found


def _with_headers(send: Send) -> Send:
    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            own = {name for name, _ in HEADERS}
            kept = [(name, value) for name, value in message.get("headers", ()) if name.lower() not in own]
            message = {**message, "headers": [*kept, *HEADERS]}
        await send(message)

    return sending


async def _refuse(send: Send, status: int, line: str) -> None:
    body = f"voicenotes: refused: {line}\n".encode()
    headers = [
        (b"content-type", b"text/plain; charset=utf-8"),
        (b"content-length", str(len(body)).encode()),
        (b"connection", b"close"),
        *HEADERS,
    ]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
