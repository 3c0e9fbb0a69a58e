"""The day and the hour, read once a request, at the edge."""

from datetime import UTC, date, datetime
from typing import Annotated

from fastapi import Depends, Request


def _now(request: Request) -> datetime:
    clock = getattr(request.app.state, "clock", None)
    return clock() if clock is not None else datetime.now(UTC)


def _today(now: Annotated[datetime, Depends(_now)]) -> date:
    return now.date()


Now = Annotated[datetime, Depends(_now)]
"""This moment in UTC, or what `app.state.clock` says."""

Today = Annotated[date, Depends(_today)]
"""Its day."""
