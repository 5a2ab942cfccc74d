"""Who may talk to the bench: this machine's own browser, on the page it was given, with the token of this start."""

from __future__ import annotations

import hashlib
import hmac
from collections.abc import Mapping
from http.cookies import CookieError, SimpleCookie
from urllib.parse import parse_qs

__all__ = ["HEADERS", "Guard"]

# Nothing from elsewhere, nothing in line, in no frame: a picture or a scene's words can never become a program.
HEADERS = {
    "content-security-policy": "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; font-src 'self'; "
                               "connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
    "x-content-type-options": "nosniff", "x-frame-options": "DENY", "referrer-policy": "no-referrer", "cache-control": "no-store",
    "cross-origin-opener-policy": "same-origin", "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=()",
}
READING = ("GET", "HEAD")


class Guard:
    """An ASGI application around another one.

    hosts  what a request may call this machine, with the port; a page elsewhere whose name was pointed here calls it otherwise.
    token  of this start; ``/?key=TOKEN`` turns it into a cookie that no script can read and no other site can send.
    """

    def __init__(self, app, *, port: int, token: str) -> None:
        self.app, self.token = app, token
        self.hosts = {f"127.0.0.1:{port}", f"localhost:{port}"}
        self.cookie = f"bench{port}"
        self.start = hashlib.sha256(token.encode()).hexdigest()[:16]  # tells starts apart, and says nothing of the token

    async def __call__(self, scope, receive, send) -> None:
        """Refuse a request, or pass it on; every answer carries ``HEADERS``."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            return
        headers = {k.decode("latin-1").lower(): v.decode("latin-1") for k, v in scope["headers"]}

        async def sending(message) -> None:
            if message["type"] == "http.response.start":
                given = {k.lower() for k, _ in message["headers"]}
                added = {**HEADERS, "x-start": self.start}
                message = {**message, "headers": [*message["headers"], *((k.encode(), v.encode()) for k, v in added.items() if k.encode() not in given)]}
            await send(message)

        refused = self.refused(scope["method"], headers)
        if refused:
            await _plain(sending, 403, refused)
            return
        key = parse_qs(scope["query_string"].decode("latin-1")).get("key", [""])[0]
        if scope["path"] == "/" and key and scope["method"] == "GET":
            if not hmac.compare_digest(key.encode(), self.token.encode()):
                await _plain(sending, 403, "This address is of an earlier start. Open the one that mockup bench printed.")
                return
            cookie = f"{self.cookie}={self.token}; Path=/; HttpOnly; SameSite=Strict"
            await _plain(sending, 303, "", [(b"location", b"/"), (b"set-cookie", cookie.encode())])
            return
        if not hmac.compare_digest(self._shown(headers).encode(), self.token.encode()):
            await _plain(sending, 403, "Open the address that mockup bench printed, with its key.")
            return
        if headers.get("x-start", self.start) != self.start:
            # The cookie is the newer bench's, the page is not: what it would change is another scene.
            await _plain(sending, 403, "This page is of an earlier start. Load it again.")
            return
        await self.app(scope, receive, sending)

    def refused(self, method: str, headers: Mapping[str, str]) -> str:
        """Why a request is refused, '' when it is not."""
        host = headers.get("host", "").lower()
        if host not in self.hosts:
            return "This page is only for this machine."
        if headers.get("sec-fetch-site", "none") not in ("same-origin", "none"):
            return "Another site may not ask for this."
        origin = headers.get("origin")
        if origin is not None and origin.lower() != f"http://{host}":
            return "Another site may not ask for this."
        # A form of another site can post, but cannot add a header of its own.
        if method not in READING and (origin is None or headers.get("x-bench") != "1"):
            return "Only the page itself may ask for this."
        return ""

    def _shown(self, headers: Mapping[str, str]) -> str:
        try:
            found = SimpleCookie(headers.get("cookie", "")).get(self.cookie)
        except CookieError:
            return ""
        return "" if found is None else found.value


async def _plain(send, status: int, text: str, more: list[tuple[bytes, bytes]] | None = None) -> None:
    body = text.encode("utf-8")
    await send({"type": "http.response.start", "status": status,
                "headers": [(b"content-type", b"text/plain; charset=utf-8"), (b"content-length", str(len(body)).encode()), *(more or [])]})
    await send({"type": "http.response.body", "body": body})
