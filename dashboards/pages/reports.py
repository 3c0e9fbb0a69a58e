"""What forms send: a check and the moment of it, or whatever they ask."""

from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from typing import Annotated
from uuid import UUID, uuid4

from fastapi import Depends, Form, Request
from starlette.datastructures import FormData

from dashboards.contexts import Receipt
from dashboards.words import RESULT_WORDS
from registry.checks.model import RESULTS, CheckReport, CheckUnfit
from registry.errors import Issue

Words = Annotated[str, Form(max_length=2000)]


@dataclass(frozen=True, slots=True)
class CheckFields:
    """A form's fields as sent."""

    client_uuid: UUID
    opened_at: datetime
    result: str
    found_on: str
    screening_ppmv: str
    checked_by: str
    notes: str

    def report(
        self, *, tag: str | None = None, joint_id: int | None = None, route_id: int | None = None
    ) -> CheckReport:
        """The report of a joint, by tag or number. Raises CheckUnfit, with the field that is wrong."""
        if self.result not in RESULTS:
            raise _unfit("result", self.result, "choose what was found")
        notes = self.notes.strip() or None
        if self.result == "not_reached" and notes is None:
            raise _unfit("notes", "", "say why the joint was not reached")
        return CheckReport(
            tag=tag,
            joint_id=joint_id,
            observed_at=self._observed_at(),
            result=self.result,
            client_uuid=self.client_uuid,
            screening_ppmv=self._screening(),
            checked_by=self.checked_by.strip() or None,
            notes=notes,
            route_id=route_id,
        )

    def _observed_at(self) -> datetime:
        opened = self.opened_at if self.opened_at.tzinfo else self.opened_at.replace(tzinfo=UTC)
        if not self.found_on:
            return opened
        try:
            found_on = date.fromisoformat(self.found_on)
        except ValueError as exc:
            raise _unfit("found_on", self.found_on, "is no date; write it as 2026-03-31") from exc
        # The form's own moment counts for its own day, so that sending the same form twice says the same thing.
        return opened if found_on == opened.date() else datetime.combine(found_on, time(12), UTC)

    def _screening(self) -> float | None:
        if not self.screening_ppmv.strip():
            return None
        try:
            return float(self.screening_ppmv.replace(",", "."))
        except ValueError as exc:
            raise _unfit("screening_ppmv", self.screening_ppmv, "is no number") from exc


def _check_fields(
    client_uuid: Annotated[UUID, Form()],
    opened_at: Annotated[datetime, Form()],
    result: Words = "",
    found_on: Words = "",
    screening_ppmv: Words = "",
    checked_by: Words = "",
    notes: Words = "",
) -> CheckFields:
    return CheckFields(client_uuid, opened_at, result, found_on, screening_ppmv, checked_by, notes)


SentCheck = Annotated[CheckFields, Depends(_check_fields)]


async def _form(request: Request) -> FormData:
    return await request.form()


SentForm = Annotated[FormData, Depends(_form)]
"""A form as sent, for pages whose fields depend on what they ask."""


def fresh_uuid() -> str:
    """A form's own number, by which a report that is sent twice counts once."""
    return str(uuid4())


def moment_text(now: datetime) -> str:
    """A moment as forms carry it."""
    return now.isoformat(timespec="seconds")


def receipt_of(result: str, was: str, now: str, again: str) -> Receipt | None:
    """What the page says after a recorded check, from its address; None where there is nothing to say."""
    if result not in RESULT_WORDS:
        return None
    return Receipt(RESULT_WORDS[result], _day(was), _day(now), again == "yes")


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None


def _unfit(column: str, value: str, reason: str) -> CheckUnfit:
    return CheckUnfit("the check was not recorded", [Issue(None, column, value or None, reason)])
