"""What every answer carries and every request must satisfy, so that no other page can act through a reader's browser.

The policy names no inline script, no inline style, no `eval` and no other host. plotly.js would write inline styles;
the pages keep it from that (see `assets.PlottingLibrary`), so `style-src 'self'` holds. Its WebGL traces compile code
from strings and would need `'unsafe-eval'`; the figures here are SVG and the joints a canvas of our own, so
`script-src 'self'` holds too.
"""

from collections.abc import Collection
from typing import Final
from urllib.parse import urlsplit

import orjson
from fastapi import Response
from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from registry.web.problems import problem

CONTENT_SECURITY_POLICY: Final = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' data:",
        "connect-src 'self'",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
    )
)
HEADERS: Final = {
    "Content-Security-Policy": CONTENT_SECURITY_POLICY,
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=()",
}
LOCAL_HOSTS: Final = ("127.0.0.1", "localhost", "::1")
_READING: Final = ("GET", "HEAD", "OPTIONS")


class SameOrigin:
    """Refuse a request to a host name that is not ours, and a change that another site's page asks for.

    The host check stops a foreign name that was pointed at this machine; the origin check stops foreign forms and
    scripts. A program that sends neither `Sec-Fetch-Site` nor `Origin` is no browser and acts for nobody but its own
    user.
    """

    def __init__(self, app: ASGIApp, hosts: Collection[str] = ()) -> None:
        self.app = app
        self.hosts = frozenset(host.casefold() for host in (*LOCAL_HOSTS, *hosts))

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let the request through or refuse it, and put the headers on the answer."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers.setdefault(name, value)
            await send(message)

        refusal = self.refusal(scope["method"], Headers(scope=scope))
        if refusal is None:
            await self.app(scope, receive, send_with_headers)
            return
        status, slug, detail = refusal
        document = problem(status, slug, "The request was refused", detail)
        answer = Response(orjson.dumps(document), status_code=status, media_type="application/problem+json")
        await answer(scope, receive, send_with_headers)

    def refusal(self, method: str, headers: Headers) -> tuple[int, str, str] | None:
        """Status, slug and reason, or None when the request may pass."""
        host = headers.get("host", "")
        if (_host_name(host) or "") not in self.hosts:
            detail = f"this server does not answer for '{host[:100]}'; start it with --name for another of its names"
            return 421, "host-unknown", detail
        if method in _READING:
            return None
        site = headers.get("sec-fetch-site")
        if site is not None and site not in ("same-origin", "none"):
            return 403, "cross-site", "a change must come from a page of this server"
        origin = headers.get("origin")
        if origin is not None and urlsplit(origin).netloc.casefold() != host.casefold():
            return 403, "cross-site", "a change must come from a page of this server"
        return None


def _host_name(host: str) -> str | None:
    try:
        return urlsplit(f"//{host}").hostname
    except ValueError:
        return None
