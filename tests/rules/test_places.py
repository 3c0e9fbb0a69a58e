"""What stands where: the top level, no place of one machine, no request to the outside network."""

import re
from pathlib import PurePath

import pytest

from tests.rules.project import read, tracked_files

TOP_LEVEL = {"README.md", "DEVELOPERS.md", "pyproject.toml", "registry", "migrations", "dashboards", "tests", "deploy"}
TOP_LEVEL_HIDDEN = {".ci", ".gitignore", ".dockerignore"}
FORBIDDEN_STEMS = {"utils", "helpers", "common", "manager", "base", "misc"}

# A home folder, a working folder, or a neighbour of the checkout. /tmp, /var, /etc and /usr are everybody's.
MACHINE_PATH = re.compile(r"(?<![\w.$~}])/(?:home|Users|work|farm|mnt|workspace)/\w+|\.\./" + "shared")
ASKS_OUTSIDE = re.compile(
    r"""(?:src|href|action|poster|data-src)\s*=\s*["'](?:https?:)?//
      | @import\s+(?:url\()?["']?(?:https?:)?//
      | url\(\s*["']?(?:https?:)?//
      | \b(?:fetch|import|EventSource|WebSocket|Worker)\(\s*["'`](?:https?|wss?):
      | \bcdn\.
    """,
    re.VERBOSE,
)


def test_the_top_level_stays_as_given() -> None:
    found = {PurePath(name).parts[0] for name in tracked_files()}
    assert not found - TOP_LEVEL - TOP_LEVEL_HIDDEN
    assert {"README.md", "DEVELOPERS.md", ".ci"} <= found


def test_no_file_is_named_for_nothing() -> None:
    code = [name for name in tracked_files() if name.endswith(".py")]
    assert not [name for name in code if PurePath(name).stem in FORBIDDEN_STEMS]


def test_no_place_of_one_machine_is_written_down() -> None:
    assert not [
        f"{name}:{number}: {line.strip()}"
        for name in tracked_files()
        for number, line in enumerate(read(name).splitlines(), start=1)
        if MACHINE_PATH.search(line) and name != "tests/rules/test_places.py"
    ]


@pytest.mark.parametrize(
    ("line", "forbidden"),
    [
        ("data = '/home/somebody/plant.csv'", True),
        ("see /work/plan", True),
        ("the sample in ../" + "shared", True),
        ("#!/usr/bin/env bash", False),
        ("/var/lib/jointwright and /tmp", False),
        ('href="/sites/saltmarsh-point/plan"', False),
        ('"/api/v1/sites/{site}/work/orders"', False),
    ],
)
def test_a_place_of_one_machine_is_seen(line: str, forbidden: bool) -> None:
    assert bool(MACHINE_PATH.search(line)) is forbidden


def test_no_page_asks_the_outside_network() -> None:
    pages = [name for name in tracked_files() if name.startswith("dashboards/")]
    assert not [
        f"{name}:{number}: {line.strip()[:160]}"
        for name in pages
        for number, line in enumerate(read(name).splitlines(), start=1)
        if ASKS_OUTSIDE.search(line)
    ]


@pytest.mark.parametrize(
    ("line", "asks"),
    [
        ('<script src="https://example.org/x.js"></script>', True),
        ("<link rel=stylesheet href='//example.org/x.css'>", True),
        ("@import url('https://example.org/font.css');", True),
        ("background: url(http://example.org/x.png)", True),
        ('fetch("https://example.org/tiles")', True),
        ('<svg xmlns="http://www.w3.org/2000/svg">', False),
        ('<a href="/sites/x/plan">', False),
        ("fetch(`/api/v1/sites/${site}/map`)", False),
    ],
)
def test_a_request_to_the_outside_is_seen(line: str, asks: bool) -> None:
    assert bool(ASKS_OUTSIDE.search(line)) is asks


def test_no_library_is_committed() -> None:
    assert not [name for name in tracked_files() if name.endswith((".min.js", ".woff", ".woff2", ".ttf", ".map"))]
