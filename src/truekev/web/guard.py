"""What stands before every page: who may ask, from where, how much; and what browsers are told."""

from __future__ import annotations

import base64
import hmac
import time
from collections import deque
from collections.abc import Iterable
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

__all__ = ["LARGEST_FILE_BYTES", "LARGEST_FORM_BYTES", "Guard"]

LARGEST_FORM_BYTES = 2 * 1024 * 1024
LARGEST_FILE_BYTES = 65 * 1024 * 1024  # what a spectrum file may hold, and its form around it
_TAKES_FILES = ("/spectra/new", "/pictures/new", "/align")
_SAFE = ("GET", "HEAD")
_TRIES, _TRIES_S = 10, 60.0  # wrong passwords in a minute before all wait

_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
_TOLD = {
    "Content-Security-Policy": _POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=()",
}


class Guard:
    """Refuses other hosts, cross-site posts, bodies that are too large, and strangers where a password is set.

    Parameters
    ----------
    app : ASGI application
    hosts : iterable of str
        Names by which the server may be called, beside 127.0.0.1, ::1 and localhost.
    password : str
        Asked for by HTTP basic authentication; none if empty.
    """

    def __init__(self, app: ASGIApp, *, hosts: Iterable[str] = (), password: str = "") -> None:
        self.app = app
        self.hosts = {"127.0.0.1", "localhost", "::1", *(host.lower() for host in hosts)}
        self.password = password
        self._wrong: deque[float] = deque(maxlen=_TRIES)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, or answer it here."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            await send({"type": "websocket.close", "code": 1008})
            return
        refusal = self._refusal(scope)

        async def told(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in _TOLD.items():
                    headers.setdefault(name, value)
                headers.setdefault("Cache-Control", "no-store")
            await send(message)

        if refusal is not None:
            await refusal(scope, receive, told)
            return
        limit = _limit(scope)
        taken = 0

        async def counted() -> Message:
            nonlocal taken
            message = await receive()
            taken += len(message.get("body", b""))
            if taken > limit:
                raise HTTPException(413, _too_large(limit))
            return message

        await self.app(scope, counted, told)

    def _refusal(self, scope: Scope) -> PlainTextResponse | None:
        headers = Headers(scope=scope)
        hosts = headers.getlist("host")
        if len(hosts) != 1 or _name(hosts[0]) not in self.hosts:
            return PlainTextResponse(
                "This server answers to other names only; start it with --allow-host NAME for this one.", 421
            )
        if self.password and (answer := self._stranger(headers)) is not None:
            return answer
        if scope["method"] in _SAFE:
            return None
        if scope["method"] != "POST":
            return PlainTextResponse("Only GET, HEAD and POST are understood here.", 405)
        site, origin = headers.get("sec-fetch-site"), headers.get("origin")
        if site not in (None, "same-origin", "none"):
            return PlainTextResponse("Refused: this form was sent by another site.", 403)
        if origin is not None and urlsplit(origin).netloc.lower() != hosts[0].lower():
            return PlainTextResponse("Refused: this form was sent by another site.", 403)
        length = headers.get("content-length", "0")
        if not length.isdigit() or int(length) > _limit(scope):
            return PlainTextResponse(_too_large(_limit(scope)), 413)
        return None

    def _stranger(self, headers: Headers) -> PlainTextResponse | None:
        now = time.monotonic()
        if len(self._wrong) == _TRIES and now - self._wrong[0] < _TRIES_S:
            return PlainTextResponse("Too many wrong passwords; wait a minute.", 429)
        scheme, _, given = headers.get("authorization", "").partition(" ")
        if scheme.lower() == "basic":
            try:
                words = base64.b64decode(given, validate=True)
            except ValueError:
                words = b""
            if hmac.compare_digest(words.partition(b":")[2], self.password.encode()):
                return None
            self._wrong.append(now)
        asked = {"WWW-Authenticate": 'Basic realm="bench book", charset="UTF-8"'}
        return PlainTextResponse("A password is needed (any user name).", 401, headers=asked)


def _limit(scope: Scope) -> int:
    return LARGEST_FILE_BYTES if scope["path"].endswith(_TAKES_FILES) else LARGEST_FORM_BYTES


def _too_large(limit: int) -> str:
    return f"Too large: at most {limit // 1024 // 1024} MB are taken here."


def _name(host: str) -> str:
    """The name in a Host header, without the port; empty where it is none."""
    try:
        parts = urlsplit(f"//{host}")
        _ = parts.port
    except ValueError:
        return ""
    plain = not (parts.path or parts.query or parts.fragment or parts.username or parts.password)
    return (parts.hostname or "") if plain else ""
