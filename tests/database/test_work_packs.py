"""Work packs: from break-out to leak test, and nothing is handed back while anything stands open."""

import io
from datetime import UTC, date, datetime, timedelta
from uuid import uuid4

import pypdf
import pytest

from registry.completion.model import (
    Completion,
    HandedBack,
    NotHandedBack,
    NotInPack,
    PackJoint,
    PackStepKind,
    StandsOpen,
    StepOutOfOrder,
    StepReport,
    StepReportedOtherwise,
    WorkPackExists,
    WorkPackUnfit,
    WorkPackUnknown,
)
from registry.completion.service import (
    add_joints,
    certificate,
    hand_back,
    open_pack,
    read_completion,
    record_step,
)
from registry.db import Connection, Database
from registry.leaks.model import InTheFuture
from tests.conftest import new_site
from tests.database.made_up import make_up
from tests.database.small_site import fill_site


def now() -> datetime:
    return datetime.now(UTC)


def today() -> date:
    return now().date()


class Site:
    """A site where each step is a transaction of its own, as in the field: what comes after has a later time."""

    def __init__(self, database: Database) -> None:
        self.database, self.site_id = database, new_site(database, "completion")
        with database.transaction(self.site_id) as connection:
            self.tags = fill_site(connection, 6)
            open_pack(connection, "WP-1", "Second stage", "O. Opener", self.tags[:2])

    def step(self, tag: str, step: PackStepKind, *, passed: bool = True, at: datetime | None = None) -> PackJoint:
        report = StepReport(
            tag=tag, step=step, passed=passed, observed_at=at or now(), done_by="T. Tester", client_uuid=uuid4()
        )
        with self.database.transaction(self.site_id) as connection:
            return record_step(connection, "WP-1", report, today())

    def make_up(self, tag: str, verdict: str = "accepted", on: date | None = None) -> None:
        with self.database.transaction(self.site_id) as connection:
            make_up(connection, tag, on or today(), verdict=verdict)

    def read(self) -> Completion:
        with self.database.transaction(self.site_id) as connection:
            return read_completion(connection, "WP-1")

    def states(self) -> list[str]:
        return [joint.state for joint in self.read().joints]

    def hand_back(self) -> Completion:
        with self.database.transaction(self.site_id) as connection:
            return hand_back(connection, "WP-1", "H. Handback", now())

    def certificate(self) -> bytes:
        with self.database.transaction(self.site_id) as connection:
            return certificate(connection, "WP-1", "Saltmarsh Point")

    def complete(self, tag: str) -> None:
        self.step(tag, "broken")
        self.make_up(tag)
        self.step(tag, "leak_tested")


@pytest.fixture
def site(database: Database) -> Site:
    return Site(database)


def test_a_pack_goes_from_break_out_to_the_certificate(site: Site) -> None:
    first, second = site.tags[:2]
    assert site.states() == ["to be broken", "to be broken"]
    with pytest.raises(StandsOpen):
        site.certificate()
    assert site.step(first, "broken").state == "to be made again"
    site.make_up(first, "not accepted")
    assert site.states()[0] == "not accepted"
    with pytest.raises(StepOutOfOrder, match="not accepted"):
        site.step(first, "leak_tested")
    site.make_up(first)
    assert site.states()[0] == "to be leak-tested"
    assert site.step(first, "leak_tested", passed=False).state == "leaked"
    with pytest.raises(StandsOpen) as refused:
        site.hand_back()
    assert [(issue.value, issue.reason) for issue in refused.value.issues] == [
        (first, "did not pass its leak test"),
        (second, "was never broken: take it out of the work or break it"),
    ]
    assert site.step(first, "leak_tested").state == "complete"
    site.complete(second)
    with pytest.raises(NotHandedBack):
        site.certificate()
    assert site.hand_back().pack.handed_back_by == "H. Handback"
    pdf = pypdf.PdfReader(io.BytesIO(site.certificate()))
    text = "".join(page.extract_text() for page in pdf.pages)
    for words in (first, second, "Second stage", "A. Fitter", "W. Witness", "accepted", "T. Tester", "H. Handback"):
        assert words in text
    assert f"{today()}" in text
    assert "it authorises nothing" in text
    assert "local code and the qualified person" in " ".join(text.split())


def test_what_was_made_and_tested_before_the_joint_was_broken_again_counts_no_more(site: Site) -> None:
    first = site.tags[0]
    site.complete(first)
    assert site.states()[0] == "complete"
    assert site.step(first, "broken").state == "to be made again"
    site.make_up(first)
    assert site.states()[0] == "to be leak-tested"


def test_a_joint_made_up_again_after_its_leak_test_is_tested_again(site: Site) -> None:
    first = site.tags[0]
    site.complete(first)
    site.make_up(first)
    assert site.states()[0] == "to be leak-tested"


def test_a_make_up_from_before_the_break_out_is_none(site: Site) -> None:
    first = site.tags[0]
    site.make_up(first)
    assert site.step(first, "broken").state == "to be made again"


def test_a_pack_that_is_handed_back_is_closed(site: Site) -> None:
    for tag in site.tags[:2]:
        site.complete(tag)
    site.hand_back()
    with pytest.raises(HandedBack):
        site.step(site.tags[0], "broken")
    with pytest.raises(HandedBack):
        site.hand_back()
    with pytest.raises(HandedBack), site.database.transaction(site.site_id) as connection:
        add_joints(connection, "WP-1", site.tags[2:3])


def test_the_same_step_sent_twice_counts_once(site: Site) -> None:
    report = StepReport(
        tag=site.tags[0], step="broken", passed=True, observed_at=now(), done_by="B. Breaker", client_uuid=uuid4()
    )
    for _ in range(2):
        with site.database.transaction(site.site_id) as connection:
            assert record_step(connection, "WP-1", report, today()).state == "to be made again"
    with site.database.transaction(site.site_id) as connection:
        count = connection.execute("SELECT count(*) FROM work_pack_step").fetchone()
        assert count == (1,)
        other = StepReport(
            tag=report.tag,
            step="broken",
            passed=True,
            observed_at=report.observed_at,
            done_by="Another",
            client_uuid=report.client_uuid,
        )
        with pytest.raises(StepReportedOtherwise):
            record_step(connection, "WP-1", other, today())


def test_steps_that_cannot_be_are_refused(site: Site) -> None:
    with pytest.raises(NotInPack):
        site.step(site.tags[3], "broken")
    with pytest.raises(InTheFuture):
        site.step(site.tags[0], "broken", at=now() + timedelta(days=3))
    site.step(site.tags[0], "broken")
    with pytest.raises(StepOutOfOrder):
        site.step(site.tags[0], "broken", at=now() - timedelta(days=3))
    with site.database.transaction(site.site_id) as connection:
        assert len(add_joints(connection, "WP-1", [site.tags[3], site.tags[0]]).joints) == 3
    assert site.step(site.tags[3], "broken").state == "to be made again"


def test_a_pack_names_joints_that_are_there_and_a_code_of_its_own(connection: Connection) -> None:
    tags = fill_site(connection, 4)
    with pytest.raises(WorkPackUnfit) as refused:
        open_pack(connection, " ", "Title", "O. Opener", [tags[0], "NOT-THERE"])
    assert [(issue.column, issue.value) for issue in refused.value.issues] == [("code", None), ("tags", "NOT-THERE")]
    with pytest.raises(WorkPackUnfit):
        open_pack(connection, "WP-1", "Title", "O. Opener", [])
    with pytest.raises(WorkPackUnknown):
        read_completion(connection, "WP-9")


def test_a_second_pack_of_one_code_is_a_conflict(site: Site) -> None:
    with pytest.raises(WorkPackExists), site.database.transaction(site.site_id) as connection:
        open_pack(connection, "WP-1", "Other", "O. Opener", site.tags[:1])
