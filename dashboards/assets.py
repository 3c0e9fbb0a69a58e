"""Files that a browser loads: our own style sheets and scripts, and plotly.js from its installed package.

Each address carries a hash of the content and is kept for a year; a new version has a new address.
"""

import gzip
import hashlib
import re
from functools import cache
from pathlib import Path
from typing import Final

import plotly
from fastapi import APIRouter, Request, Response

from registry.errors import NotFound

STATIC: Final = Path(__file__).parent / "static"
_TYPES: Final = {".css": "text/css", ".js": "text/javascript", ".svg": "image/svg+xml"}
_KEPT: Final = {"Cache-Control": "public, max-age=31536000, immutable"}
_STYLE_ID: Final = re.compile(rb'getElementById\("([0-9a-f]{40,64})"\)\)\{var \w+=document\.createElement\("style"\)')

ROUTER = APIRouter(include_in_schema=False)


class AssetUnknown(NotFound):
    """There is no such file here"""

    slug = "asset-unknown"


class PlottingLibrary:
    """plotly.js as its Python package ships it, compressed once.

    It writes style elements into the page unless an element with the style's id is there already; `style_ids` are
    the ids other than that of its own style sheet, so that pages can put empty elements in their place and keep a
    strict policy.
    """

    def __init__(self) -> None:
        self.content = (Path(plotly.__file__).parent / "package_data" / "plotly.min.js").read_bytes()
        self.compressed = gzip.compress(self.content, 6)
        self.hash = _hash(self.content)
        self.address = f"/static/{self.hash}/plotly.js"
        self.style_ids = tuple(found.decode() for found in dict.fromkeys(_STYLE_ID.findall(self.content)))


@cache
def plotting_library() -> PlottingLibrary:
    """The library, read at its first use."""
    return PlottingLibrary()


@cache
def static_hash() -> str:
    """One hash over all of our own files, so that a script can import its neighbours by their plain names."""
    return _hash(b"".join(path.name.encode() + path.read_bytes() for path in sorted(STATIC.iterdir())))


def static_address(name: str) -> str:
    """Where a file of ours is served."""
    if not (STATIC / name).is_file():
        raise AssetUnknown(f"no file '{name}' among the static files")
    return f"/static/{static_hash()}/{name}"


@ROUTER.get("/static/{content_hash}/plotly.js")
def get_plotting_library(content_hash: str, request: Request) -> Response:
    """plotly.js, compressed for whoever takes that."""
    library = plotting_library()
    if content_hash != library.hash:
        raise AssetUnknown("this version of the file is no longer here")
    headers = {**_KEPT, "Vary": "Accept-Encoding"}
    if "gzip" in request.headers.get("Accept-Encoding", ""):
        headers["Content-Encoding"] = "gzip"
        return Response(library.compressed, media_type="text/javascript", headers=headers)
    return Response(library.content, media_type="text/javascript", headers=headers)


@ROUTER.get("/static/{content_hash}/{name}")
def get_static(content_hash: str, name: str) -> Response:
    """One of our own files."""
    path = STATIC / name
    if content_hash != static_hash() or path.parent != STATIC or not path.is_file() or path.suffix not in _TYPES:
        raise AssetUnknown("this version of the file is no longer here")
    return Response(path.read_bytes(), media_type=_TYPES[path.suffix], headers=_KEPT)


@ROUTER.get("/favicon.ico")
def get_favicon() -> Response:
    """For browsers that ask before they have read the page."""
    headers = {"Cache-Control": "max-age=86400"}
    return Response((STATIC / "mark.svg").read_bytes(), media_type="image/svg+xml", headers=headers)


def _hash(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()[:16]
