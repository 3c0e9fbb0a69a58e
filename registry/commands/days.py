"""Days and times as arguments."""

import argparse
from datetime import UTC, date, datetime


def day(text: str) -> date:
    """An ISO day."""
    try:
        return date.fromisoformat(text)
    except ValueError as exc:
        raise argparse.ArgumentTypeError(f"'{text}' is no date such as 2026-11-26") from exc


def moment(text: str) -> datetime:
    """An ISO time; one without a zone is of this machine's."""
    try:
        return datetime.fromisoformat(text).astimezone()
    except ValueError as exc:
        raise argparse.ArgumentTypeError(f"'{text}' is no time such as 2026-11-26T10:30 or 2026-11-26T10:30Z") from exc


def utc_today() -> date:
    """Today by UTC's calendar, by which nothing of tomorrow is recorded."""
    return datetime.now(UTC).date()
