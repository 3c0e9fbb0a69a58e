"""Open a work pack, follow its joints from break-out to leak test, hand the system back when nothing stands open."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime

from registry.completion import store
from registry.completion.certificate import certificate_pdf
from registry.completion.model import (
    OPEN_WORDS,
    Completion,
    HandedBack,
    NotHandedBack,
    NotInPack,
    PackJoint,
    StandsOpen,
    StepOutOfOrder,
    StepReport,
    StepReportedOtherwise,
    WorkPackUnfit,
    WorkPackUnknown,
)
from registry.db import Connection
from registry.errors import Issue
from registry.leaks.service import refuse_future


def open_pack(connection: Connection, code: str, title: str, opened_by: str, tags: Sequence[str]) -> Completion:
    """Open a work pack on the joints that are to be broken.

    Raises WorkPackUnfit with every fault, or WorkPackExists.
    """
    given = {"code": code.strip(), "title": title.strip(), "opened_by": opened_by.strip()}
    faults = [Issue(None, column, None, "is missing") for column, value in given.items() if not value]
    wanted = [tag.strip() for tag in tags if tag.strip()]
    found = store.find_joints(connection, wanted)
    faults += [Issue(None, "tags", tag, "is no joint of this site") for tag in wanted if tag not in found]
    if not wanted:
        faults.append(Issue(None, "tags", None, "name the joints that are to be broken"))
    if faults:
        raise WorkPackUnfit("the work pack was refused", faults)
    number = store.add_pack(connection, **given)
    store.add_pack_joints(connection, number, list(found.values()))
    return read_completion(connection, given["code"])


def add_joints(connection: Connection, code: str, tags: Sequence[str]) -> Completion:
    """Put more joints into a work pack. Raises WorkPackUnknown, HandedBack or WorkPackUnfit."""
    store.take_pack_lock(connection)
    completion = _still_open(connection, code)
    wanted = [tag.strip() for tag in tags if tag.strip()]
    found = store.find_joints(connection, wanted)
    faults = [Issue(None, "tags", tag, "is no joint of this site") for tag in wanted if tag not in found]
    if faults:
        raise WorkPackUnfit("no joint was added", faults)
    store.add_pack_joints(connection, completion.pack.work_pack_id, list(found.values()))
    return read_completion(connection, code)


def read_completion(connection: Connection, code: str) -> Completion:
    """A work pack with how far each of its joints has come. Raises WorkPackUnknown."""
    for pack in store.list_packs(connection, code=code, limit=1):
        return Completion(pack, store.list_pack_joints(connection, pack.work_pack_id))
    raise WorkPackUnknown(f"no work pack '{code}' in this site")


def record_step(connection: Connection, code: str, report: StepReport, today: date) -> PackJoint:
    """Record that a joint was broken or leak-tested, and return where it stands then.

    A joint may be broken again: then what was made and tested before no longer counts. A leak test needs an accepted
    make-up first. The same report again (by `client_uuid`) adds nothing. Raises WorkPackUnknown, HandedBack, NotInPack,
    StepOutOfOrder, WorkPackUnfit, InTheFuture, or StepReportedOtherwise.
    """
    report = replace(report, done_by=report.done_by.strip(), notes=(report.notes or "").strip() or None)
    if not report.done_by:
        raise WorkPackUnfit("the step was not recorded", [Issue(None, "done_by", None, "say who did it")])
    refuse_future(report.observed_at, today)
    store.take_pack_lock(connection)
    completion = read_completion(connection, code)
    joint = _joint_of(completion, report.tag)
    stands = store.step_of_uuid(connection, report.client_uuid)
    if stands is not None:
        if (stands.work_pack_id, stands.joint_id, stands.step, stands.passed, stands.observed_at, stands.done_by) != (
            completion.pack.work_pack_id,
            joint.joint_id,
            report.step,
            report.passed,
            report.observed_at,
            report.done_by,
        ):
            raise StepReportedOtherwise("a step was recorded under this UUID with other content")
        return joint
    _refuse_handed_back(completion)
    _refuse_out_of_order(joint, report)
    store.add_step(connection, completion.pack.work_pack_id, joint.joint_id, report)
    return _joint_of(read_completion(connection, code), report.tag)


def hand_back(connection: Connection, code: str, by: str, at: datetime) -> Completion:
    """Hand a system back. Raises StandsOpen with every joint that keeps it from that, or HandedBack."""
    if not by.strip():
        raise WorkPackUnfit("the work pack was not handed back", [Issue(None, "by", None, "say who hands it back")])
    store.take_pack_lock(connection)
    completion = _still_open(connection, code)
    _refuse_standing_open(completion)
    store.hand_back(connection, completion.pack.work_pack_id, by.strip(), at)
    return read_completion(connection, code)


def certificate(connection: Connection, code: str, site_name: str) -> bytes:
    """The certificate of completion as a PDF. Raises StandsOpen, NotHandedBack or WorkPackUnknown."""
    completion = read_completion(connection, code)
    _refuse_standing_open(completion)
    if completion.pack.handed_back_at is None:
        raise NotHandedBack(f"'{code}' is complete: hand it back, and the certificate can be given")
    return certificate_pdf(completion, site_name)


def _still_open(connection: Connection, code: str) -> Completion:
    completion = read_completion(connection, code)
    _refuse_handed_back(completion)
    return completion


def _refuse_handed_back(completion: Completion) -> None:
    pack = completion.pack
    if pack.handed_back_at is not None:
        raise HandedBack(f"'{pack.code}' was handed back by {pack.handed_back_by} on {pack.handed_back_at:%Y-%m-%d}")


def _refuse_standing_open(completion: Completion) -> None:
    stand_open = completion.open
    if stand_open:
        issues = [Issue(None, "joint", joint.tag, OPEN_WORDS[joint.state]) for joint in stand_open]
        many = "joint stands" if len(stand_open) == 1 else "joints stand"
        raise StandsOpen(f"{len(stand_open)} {many} open in '{completion.pack.code}'", issues)


def _joint_of(completion: Completion, tag: str) -> PackJoint:
    for joint in completion.joints:
        if joint.tag == tag:
            return joint
    raise NotInPack(f"'{tag}' is not in '{completion.pack.code}'")


def _refuse_out_of_order(joint: PackJoint, report: StepReport) -> None:
    if report.step == "leak_tested" and joint.verdict != "accepted":
        raise StepOutOfOrder(f"'{joint.tag}' {OPEN_WORDS[joint.state]}: a leak test comes after an accepted make-up")
    if joint.broken_at is not None and report.observed_at < joint.broken_at:
        raise StepOutOfOrder(f"'{joint.tag}' was broken on {joint.broken_at:%Y-%m-%d %H:%M}, which is later than this")
