"""Who may ask: a browser of whoever started the bench, and no other page in it.

The address holds a token that is good once, for a cookie. Every request must carry that, name
this very server as its host (a foreign name that leads here is another page's), and, where it
changes something, come from a page of this server. What a page may load is said with each answer.
"""

import hmac
import secrets
from collections.abc import Awaitable, Callable, MutableMapping
from html import escape
from http.cookies import CookieError, SimpleCookie
from typing import Any
from urllib.parse import parse_qs

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

_SAFE = ("GET", "HEAD")
_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' data:;"
    " connect-src 'self'; frame-src 'self'; worker-src 'self'; media-src 'self' blob:;"
    " form-action 'none'; base-uri 'none'; frame-ancestors 'self'"
)
_HEADERS = (
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"x-frame-options", b"SAMEORIGIN"),
    (b"cache-control", b"no-store"),
    (b"permissions-policy", b"microphone=(self), camera=(), geolocation=()"),
)


class Guard:
    """What stands before an application.

    Parameters
    ----------
    app : callable
        An ASGI application.
    port : int
        Of the server.
    begins_at : str
        The path that whoever was let in sees first.
    """

    def __init__(self, app: App, port: int, begins_at: str = "/") -> None:
        self._app, self._begins_at = app, begins_at
        self._hosts = (f"127.0.0.1:{port}", f"localhost:{port}")
        # Cookies know no ports.
        self._cookie = f"presolder-{port}"
        self._secret = secrets.token_urlsafe(32)
        self._token: str | None = secrets.token_urlsafe(32)

    @property
    def address(self) -> str:
        """Where a browser is let in, once."""
        return f"http://{self._hosts[0]}/?token={self._token}"

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer for the application, or let it answer."""
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self._app(scope, receive, send)
            return
        headers = {name: value.decode("latin-1") for name, value in scope["headers"]}
        if headers.get(b"host") not in self._hosts:
            await _refuse(send, 421, "this server answers to its own address only")
        elif self._brings_token(scope):
            await self._let_in(send)
        elif not self._known(headers):
            await _refuse(
                send, 403,
                "not let in: open the address that 'presolder bench' printed; it is good for one"
                " browser, once",
            )  # fmt: skip
        elif self._foreign(scope, headers):
            await _refuse(send, 403, "another page asks, and is not let in")
        else:
            await self._app(scope, receive, _with_headers(send))

    def _brings_token(self, scope: Scope) -> bool:
        if scope["path"] != "/" or scope["method"] != "GET" or self._token is None:
            return False
        given = parse_qs(scope["query_string"].decode("latin-1")).get("token", [""])[0]
        return hmac.compare_digest(given.encode(), self._token.encode())

    async def _let_in(self, send: Send) -> None:
        self._token = None
        cookie = f"{self._cookie}={self._secret}; HttpOnly; SameSite=Strict; Path=/"
        # A page, not a redirection: what another page began, the browser would ask without it.
        to = escape(self._begins_at)
        page = (
            f'<!doctype html><meta http-equiv="refresh" content="0;url={to}"><title>bench</title>'
        )
        headers = [(b"content-type", b"text/html"), (b"set-cookie", cookie.encode()), *_HEADERS]
        await send({"type": "http.response.start", "status": 200, "headers": headers})
        await send({"type": "http.response.body", "body": page.encode()})

    def _known(self, headers: dict[bytes, str]) -> bool:
        try:
            cookies = SimpleCookie(headers.get(b"cookie", ""))
        except CookieError:
            return False
        given = cookies[self._cookie].value if self._cookie in cookies else ""
        return hmac.compare_digest(given.encode(), self._secret.encode())

    def _foreign(self, scope: Scope, headers: dict[bytes, str]) -> bool:
        own = tuple(f"http://{host}" for host in self._hosts)
        origin = headers.get(b"origin")
        if origin is None:
            # Of what browsers send: opened by hand, or by a page of this server.
            site = headers.get(b"sec-fetch-site", "none")
            return scope["method"] not in _SAFE or site not in ("none", "same-origin")
        return origin not in own


def _with_headers(send: Send) -> Send:
    async def sent(message: Message) -> None:
        if message["type"] == "http.response.start":
            given = list(message["headers"])
            named = {name for name, _ in given}
            message["headers"] = [*given, *(one for one in _HEADERS if one[0] not in named)]
            if b"content-security-policy" not in named:
                message["headers"].append((b"content-security-policy", _POLICY.encode()))
        await send(message)

    return sent


async def _refuse(send: Send, status: int, why: str) -> None:
    headers = [(b"content-type", b"text/plain; charset=utf-8"), *_HEADERS]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": f"{why}\n".encode()})
