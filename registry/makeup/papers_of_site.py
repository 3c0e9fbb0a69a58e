"""People and tools of a site with their papers, and the papers that run out soon."""

from collections.abc import Sequence
from datetime import date, timedelta

from registry.db import Connection
from registry.makeup import store
from registry.makeup.papers import Expiring, Person, PersonUnknown, Tool, ToolUnknown, people_of, tools_of

SOON_DAYS = 60


def people(connection: Connection) -> tuple[Person, ...]:
    """Everybody of the register with all papers, by name."""
    return people_of(store.list_papers(connection))


def person_named(connection: Connection, name: str) -> Person:
    """One person by name, in whatever letters. Raises PersonUnknown."""
    found = people_of(store.list_papers(connection, name))
    if not found:
        raise PersonUnknown(f"nobody here is called {name!r}")
    return found[0]


def tools(connection: Connection, serials: Sequence[str] | None = None) -> tuple[Tool, ...]:
    """Every tool of the register with its calibrations, or those of the given serials."""
    return tools_of(store.list_calibrations(connection, serials))


def tool_of_serial(connection: Connection, serial: str) -> Tool:
    """One tool by its serial, in whatever letters. Raises ToolUnknown."""
    found = tools(connection, [serial])
    if not found:
        raise ToolUnknown(f"no tool {serial!r} here")
    return found[0]


def expiring(connection: Connection, today: date, days: int = SOON_DAYS) -> list[Expiring]:
    """Papers that ran out or do so within some days, where none after them makes it good."""
    return store.list_expiring(connection, today + timedelta(days=days))
