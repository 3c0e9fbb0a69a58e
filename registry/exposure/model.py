"""A temperature history as it is kept."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, slots=True)
class StoredHistory:
    """One subject's temperatures in order of time; the subject is a joint or a line, and the other is None."""

    joint_id: int | None
    line_id: int | None
    observed_at: Sequence[datetime]
    temperature_degc: Sequence[float]
    began_at: datetime
    ended_at: datetime
