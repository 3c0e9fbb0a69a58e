"""Find the joints that a bad tool, person, lot or procedure made; call them in, and follow them until each is closed.

A joint is called in if its make-up in question still stands: not if it was made up again since, and accepted. A check
alone does not take it out beforehand, for a wrong torque can be tight for years.
"""

from datetime import date

from registry.db import Connection
from registry.errors import Issue
from registry.intervals.store import call_in_recalled, share_score_lock, take_reschedule_lock
from registry.policy.model import CLASSES
from registry.recalls import store
from registry.recalls.model import (
    MOST_DAYS,
    NothingToRecall,
    RaisedRecall,
    Recall,
    RecallRequest,
    RecallUnfit,
    RecallUnknown,
    SubjectUnknown,
    Suspects,
)
from registry.recalls.tool_days import suspect_days


def suspects(connection: Connection, request: RecallRequest, today: date) -> Suspects:
    """The joints that a recall would call in. Raises SubjectUnknown where a tool is not known, or RecallUnfit."""
    _refuse_unfit(request)
    subject, from_on, until_on = request.subject.strip(), request.from_on, request.until_on or today
    why = "by the days given"
    match request.kind:
        case "tool":
            tool_id = store.read_tool_id(connection, subject)
            if tool_id is None:
                raise SubjectUnknown(f"no tool with the serial '{subject}' here")
            if request.from_on is None or request.until_on is None:
                found = suspect_days(store.list_calibrations_of(connection, tool_id), today)
                from_on = from_on or found.from_on
                until_on = request.until_on or found.until_on
                why = found.why
            made_up = store.list_made_with_tool(connection, tool_id, from_on, until_on)
        case "person":
            made_up = store.list_made_by_person(connection, subject, from_on, until_on)
        case "lot":
            made_up = store.list_made_of_lot(connection, subject, from_on, until_on)
        case "procedure":
            code, version = _procedure(subject)
            made_up = store.list_made_by_procedure(connection, code, version, from_on, until_on)
    again = store.list_made_again(connection, made_up)
    if request.kind != "tool" and request.from_on is None:
        why = "every make-up on record" if request.until_on is None else f"every make-up until {until_on}"
    return Suspects(
        kind=request.kind,
        subject=subject,
        from_on=from_on or min(made_up.values(), default=until_on),
        until_on=until_on,
        why=why,
        joint_ids=tuple(joint_id for joint_id in made_up if joint_id not in again),
        made_again=len(again),
    )


def raise_recall(
    connection: Connection, request: RecallRequest, *, reason: str, raised_by: str, today: date
) -> RaisedRecall:
    """Call in every joint that was made up so: a check of each, due by its consequence class, and its due date moved.

    Raises NothingToRecall where no joint stands that was, else what `suspects` raises.
    """
    missing = [
        Issue(None, column, None, words)
        for column, value, words in (("reason", reason, "say why"), ("raised_by", raised_by, "say who raises it"))
        if not value.strip()
    ]
    if missing:
        raise RecallUnfit("the recall was refused", missing)
    # The locks of whoever records: a run that is under way would throw the moved due dates away.
    share_score_lock(connection)
    take_reschedule_lock(connection)
    found = suspects(connection, request, today)
    if not found.joint_ids:
        raise NothingToRecall(
            f"no joint stands that was made up so between {found.from_on} and {found.until_on}"
            + (f"; {found.made_again:,} were made up again since" if found.made_again else "")
        )
    recall_id = store.add_recall(
        connection,
        found.kind,
        found.subject,
        found.from_on,
        found.until_on,
        reason.strip(),
        raised_by.strip(),
        len(found.joint_ids),
    )
    store.add_recall_joints(connection, recall_id, found.joint_ids, request.days_by_class, today)
    return RaisedRecall(
        recall_id=recall_id,
        joints=len(found.joint_ids),
        moved=call_in_recalled(connection, recall_id),
        made_again=found.made_again,
        first_due_on=store.read_first_due(connection, recall_id),
    )


def read_recall(connection: Connection, recall_id: int, today: date) -> Recall:
    """One recall with its progress. Raises RecallUnknown."""
    for found in store.list_recalls(connection, today, recall_id=recall_id, limit=1):
        return found
    raise RecallUnknown(f"no recall {recall_id} in this site")


def _refuse_unfit(request: RecallRequest) -> None:
    days = request.days_by_class
    if not request.subject.strip():
        raise RecallUnfit("the recall was refused", [Issue(None, "subject", None, f"name the {request.kind}")])
    if request.from_on is not None and request.until_on is not None and request.from_on > request.until_on:
        raise RecallUnfit("the recall was refused", [Issue(None, "from_on", str(request.from_on), "is after the end")])
    if len(days) != CLASSES or not all(0 <= each <= MOST_DAYS for each in days):
        text = ", ".join(map(str, days))
        wanted = f"give {CLASSES} numbers of days from 0 to {MOST_DAYS:,}, for class 1 to {CLASSES}"
        raise RecallUnfit("the recall was refused", [Issue(None, "days_by_class", text, wanted)])


def _procedure(subject: str) -> tuple[str, int | None]:
    code, slash, version = subject.rpartition("/")
    return (code, int(version)) if slash and version.isdigit() else (subject, None)
