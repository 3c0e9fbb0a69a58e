"""The application without a network: one request after the other, straight into its ASGI interface."""

import asyncio
from types import TracebackType
from typing import Any, Self
from urllib.parse import urlencode

from fastapi import FastAPI


class Application:
    """An ASGI application with an event loop of its own; `get` returns the body of a good answer."""

    def __init__(self, application: FastAPI) -> None:
        self._application = application
        self._loop = asyncio.new_event_loop()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._loop.run_until_complete(self._loop.shutdown_default_executor())
        self._loop.close()

    def get(self, path: str, query: dict[str, Any]) -> bytes:
        """The body that `path` answers with. Raises RuntimeError unless its status is 200."""
        status, body = self._loop.run_until_complete(self._ask(path, urlencode(query)))
        if status != 200:
            raise RuntimeError(f"{path} answered {status}: {body[:300]!r}")
        return body

    async def _ask(self, path: str, query: str) -> tuple[int, bytes]:
        status = 0
        body = bytearray()

        async def receive() -> dict[str, Any]:
            return {"type": "http.request", "body": b"", "more_body": False}

        async def send(message: Any) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
            else:
                body.extend(message.get("body", b""))

        scope = {
            "type": "http",
            "asgi": {"version": "3.0"},
            "http_version": "1.1",
            "method": "GET",
            "scheme": "http",
            "path": path,
            "raw_path": path.encode(),
            "query_string": query.encode(),
            "root_path": "",
            "headers": [(b"host", b"127.0.0.1")],
            "server": ("127.0.0.1", 8712),
            "client": ("127.0.0.1", 50_000),
        }
        await self._application(scope, receive, send)
        return status, bytes(body)
