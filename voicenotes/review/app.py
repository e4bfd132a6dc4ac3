"""The review as a web application: what each address answers."""

from __future__ import annotations

import hmac
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import parse_qsl

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import (
    HTMLResponse,
    JSONResponse,
    PlainTextResponse,
    RedirectResponse,
    Response,
    StreamingResponse,
)
from starlette.routing import Route

from voicenotes.audio.playing import type_in_browsers, wav_bytes, wav_part
from voicenotes.errors import NoRoomError, RecordingError, SheetError, VisitError
from voicenotes.review import pages
from voicenotes.review.actions import act, panel
from voicenotes.review.door import Door
from voicenotes.review.forms import FormError
from voicenotes.review.photos import TYPES, keep_photo, read_photo
from voicenotes.review.reports import TYPES as TYPES_OF_REPORTS
from voicenotes.review.reports import report_file
from voicenotes.review.sound import MOST_DECODED_BYTES, Range, asked_range, file_blocks, refused_file

if TYPE_CHECKING:
    from starlette.types import ASGIApp

    from voicenotes.review.desk import Desk
    from voicenotes.review.door import Keys

STATIC = Path(__file__).parent / "static"
STATIC_TYPES = {".js": "text/javascript", ".css": "text/css"}
MOST_FIELDS = 40


def application(desk: Desk, keys: Keys) -> ASGIApp:
    """The application of one visit, behind its door."""

    async def enter(request: Request) -> Response:
        if request.method != "POST":
            return HTMLResponse(pages.rendered("enter.html"))
        told = (await request.body()).decode("utf-8", "replace")
        if not hmac.compare_digest(told.encode(), keys.token.encode()):
            return PlainTextResponse("not this run's token", 401)
        answer = Response(status_code=204)
        answer.set_cookie(keys.cookie_name, keys.cookie, path="/", httponly=True, samesite="strict")
        return answer

    async def page(request: Request) -> Response:
        asked = request.query_params
        name = asked.get("view", "look")
        if name not in pages.VIEWS:
            return PlainTextResponse("no such page", 404)
        number = asked.get("page", "1")

        def made() -> str:
            view = desk.view()
            one = int(number) if number.isascii() and number.isdigit() and len(number) < 7 else 1
            return pages.whole_page(
                desk, view, pages.page_of(view, desk, name, asked.get("station", ""), one)
            )

        return HTMLResponse(await run_in_threadpool(made))

    async def do(request: Request) -> Response:
        body = (await request.body()).decode("utf-8", "replace")
        try:
            fields = dict(parse_qsl(body, keep_blank_values=True, max_num_fields=MOST_FIELDS))
        except ValueError:
            return PlainTextResponse("too many fields", 422)
        status, answer = await run_in_threadpool(act, desk, fields)
        if "application/json" not in request.headers.get("accept", ""):
            if status == 200:
                return RedirectResponse("/", 303)
            return HTMLResponse(pages.rendered("refused.html", line=answer["problem"]), status)
        return JSONResponse(answer, status)

    async def part(request: Request) -> Response:
        try:
            text = await run_in_threadpool(
                panel, desk, request.path_params["name"], dict(request.query_params)
            )
        except FormError as error:
            return PlainTextResponse(str(error), 404)
        return HTMLResponse(text)

    async def state(request: Request) -> Response:
        view = await run_in_threadpool(desk.view)
        return JSONResponse({"corrections": len(view.corrections)})

    async def words(request: Request) -> Response:
        transcript = await run_in_threadpool(desk.words_of, request.path_params["number"])
        try:
            start, end = (float(request.query_params[name]) for name in ("start", "end"))
        except (KeyError, ValueError):
            return PlainTextResponse("start and end in seconds", 422)
        said = transcript.words if transcript else ()
        inside = [w for w in said if w.start >= start - 0.02 and w.end <= end + 0.02]
        return JSONResponse([[w.text, w.start, w.end] for w in inside])

    async def audio(request: Request) -> Response:
        return await run_in_threadpool(_sound, desk, request)

    async def take_photo(request: Request) -> Response:
        name = await run_in_threadpool(keep_photo, desk.folder, await request.body())
        if name is None:
            return PlainTextResponse("only photos: JPEG, PNG or WebP", 415)
        return JSONResponse({"name": name})

    async def photo(request: Request) -> Response:
        content = await run_in_threadpool(read_photo, desk.folder, request.path_params["name"])
        if content is None:
            return PlainTextResponse("no such photo", 404)
        return Response(content, media_type=TYPES[request.path_params["name"].rpartition(".")[2]])

    async def report(request: Request) -> Response:
        format_ = request.path_params["name"].removeprefix("report.")
        if format_ not in TYPES_OF_REPORTS or not request.path_params["name"].startswith("report."):
            return PlainTextResponse("no such report", 404)
        content, headers = await run_in_threadpool(report_file, desk, format_)
        return Response(content, headers=headers)

    async def static(request: Request) -> Response:
        path = next((p for p in STATIC.iterdir() if p.name == request.path_params["name"]), None)
        if path is None or path.suffix not in STATIC_TYPES:
            return PlainTextResponse("no such file", 404)
        return Response(path.read_bytes(), media_type=STATIC_TYPES[path.suffix])

    async def icon(request: Request) -> Response:
        return Response(status_code=204)

    async def broken(request: Request, error: Exception) -> Response:
        return PlainTextResponse(f"voicenotes: {error}", 507 if isinstance(error, NoRoomError) else 500)

    routes = [
        Route("/enter", enter, methods=["GET", "POST"]),
        Route("/", page),
        Route("/do", do, methods=["POST"]),
        Route("/part/{name:str}", part),
        Route("/state", state),
        Route("/words/{number:int}", words),
        Route("/audio/{number:int}", audio),
        Route("/photo", take_photo, methods=["POST"]),
        Route("/photo/{name:str}", photo),
        Route("/report/{name:str}", report),
        Route("/static/{name:str}", static),
        Route("/favicon.ico", icon),
    ]
    return Door(Starlette(routes=routes, exception_handlers={VisitError: broken, SheetError: broken}), keys)


def _sound(desk: Desk, request: Request) -> Response:
    """A recording, or the part of it that is asked for."""
    found = desk.sound_of(request.path_params["number"])
    if found is None:
        return PlainTextResponse("no such recording", 404)
    path, seconds = found
    if reason := refused_file(path):
        return PlainTextResponse(reason, 403)
    try:
        kind = None if request.query_params.get("as") == "wav" else type_in_browsers(path)
        whole = path.stat().st_size if kind else wav_bytes(seconds)
        wanted = asked_range(request.headers.get("range"), whole)
        if wanted is None:
            return Response(status_code=416, headers={"content-range": f"bytes */{whole}"})
        if kind:
            return StreamingResponse(
                file_blocks(path, wanted), 206 if wanted.partial else 200, wanted.headers(), kind
            )
        if wanted.partial or whole > MOST_DECODED_BYTES:
            wanted = Range(wanted.first, min(wanted.last, wanted.first + MOST_DECODED_BYTES - 1), whole, True)
        content = wav_part(path, seconds, wanted.first, wanted.size)
        return Response(content, 206 if wanted.partial else 200, wanted.headers(), "audio/wav")
    except RecordingError as error:
        return PlainTextResponse(str(error), 415)
