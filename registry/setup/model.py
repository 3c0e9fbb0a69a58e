"""What was looked at, and what was found."""

from dataclasses import asdict, dataclass
from typing import Any

# Every table that chains its rows by hash.
LEDGERS = ("make_up", "check_result", "leak", "leak_step")
OLDEST_SERVER = 15
OLDEST_PYTHON = (3, 11)


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that was looked at; `advice` says what to do where it is not good."""

    name: str
    good: bool
    found: str
    advice: str | None = None

    def as_json(self) -> dict[str, Any]:
        """The finding as `check-setup --json` gives it."""
        return {**asdict(self), "advice": None if self.good else self.advice}


@dataclass(frozen=True, slots=True)
class Server:
    """What the database server says of itself and of the application's role."""

    version: str
    major_version: int
    encoding: str
    has_role: bool
    role_is_bound: bool  # neither superuser nor past row-level security, and owner of nothing here
    may_take_role: bool
    may_stage: bool  # may make temporary tables, which bulk loads go through


@dataclass(frozen=True, slots=True)
class Break:
    """A row of a ledger that does not verify.

    'changed': its values do not hash to its hash. 'unchained': the row before it is not the one that it was written
    after, so a row between them is gone, or one was put in. Rows gone from the end leave no trace in what is left.
    """

    ledger: str
    row_id: int
    fault: str


@dataclass(frozen=True, slots=True)
class LedgerState:
    """One ledger of one site: how many rows were read, and the first breaks among them."""

    ledger: str
    rows: int
    breaks: tuple[Break, ...]
