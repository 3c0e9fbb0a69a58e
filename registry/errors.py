"""The five kinds of error, and the problem found in a row of somebody's file.

Every error that a user can meet is a leaf of one of the kinds. Leaves live beside their capability, carry a stable
`slug` and a docstring that is their title; each edge (web, command line) translates the kind once.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import ClassVar, TypeVar


@dataclass(frozen=True, slots=True)
class Issue:
    """One fault in given data: where it stands, what stood there, and what is wrong with it.

    `row` counts as a spreadsheet does, from 1 and with the heading rows; None where the fault is the file's as a whole.
    """

    row: int | None
    column: str | None
    value: str | None
    reason: str

    def __str__(self) -> str:
        place = ", ".join(
            part
            for part in (
                f"row {self.row}" if self.row is not None else "",
                f"column '{self.column}'" if self.column is not None else "",
            )
            if part
        )
        shown = f" ({self.value!r})" if self.value is not None else ""
        return f"{place}: {self.reason}{shown}" if place else f"{self.reason}{shown}"


class RegistryError(Exception):
    """Something in Jointwright could not be done"""

    slug: ClassVar[str] = "error"

    @property
    def title(self) -> str:
        """The one-line name of this kind of problem: the class's docstring."""
        return (self.__doc__ or self.slug).strip().splitlines()[0]


class NotFound(RegistryError):
    """There is no such thing"""

    slug = "not-found"


class Conflict(RegistryError):
    """It stands against what is already recorded"""

    slug = "conflict"


class Invalid(RegistryError):
    """The input was refused"""

    slug = "invalid"

    def __init__(self, message: str, issues: Sequence[Issue] = ()) -> None:
        super().__init__(message)
        self.issues = tuple(issues)


class NotAllowed(RegistryError):
    """This is not allowed"""

    slug = "not-allowed"


class Unavailable(RegistryError):
    """The database cannot be reached"""

    slug = "unavailable"


_Leaf = TypeVar("_Leaf", bound=type[RegistryError])
BY_CONSTRAINT: dict[str, type[RegistryError]] = {}


def on_constraint(name: str) -> Callable[[_Leaf], _Leaf]:
    """Name the leaf that a broken database constraint becomes; `db.py` raises it with the database's own detail."""

    def register(leaf: _Leaf) -> _Leaf:
        BY_CONSTRAINT[name] = leaf
        return leaf

    return register
