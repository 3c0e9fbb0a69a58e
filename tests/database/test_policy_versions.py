"""Draft, preview and publish: nothing is written before it is published, and nothing is edited after."""

import copy
import tomllib
from dataclasses import asdict
from typing import Any

import psycopg
import pytest

from registry.db import Connection
from registry.intervals.service import current_run, preview_draft, publish_policy, score_plant
from registry.policy.document import default_document
from registry.policy.model import PolicyInvalid
from registry.policy.service import (
    current_policy,
    current_version,
    document_of_text,
    draft_policy,
    drop_draft,
    edit_draft,
    policy_text,
    publish_draft,
    publish_first,
    version_of,
)
from registry.policy.store import list_policies
from registry.policy.versions import DraftOvertaken, DraftUnknown, PolicyUnknown, PublisherUnnamed, differences
from tests.database.small_site import AS_OF, fill_site, number


def changed(**values: Any) -> dict[str, Any]:
    """The shipped document with values at dotted paths."""
    document = copy.deepcopy(default_document())
    for path, value in values.items():
        table: Any = document
        *way, last = path.split("__")
        for key in way:
            table = table[int(key)] if isinstance(table, list) else table[key]
        table[last] = value
    return document


def test_a_site_begins_with_the_shipped_policy_once(connection: Connection) -> None:
    with pytest.raises(PolicyUnknown):
        current_policy(connection)
    first = publish_first(connection)
    assert (first.version, publish_first(connection).version) == (1, 1)
    assert current_version(connection).document == default_document()


def test_a_draft_becomes_the_next_version_in_somebodys_name(connection: Connection) -> None:
    publish_first(connection)
    with pytest.raises(DraftUnknown):
        publish_draft(connection, "E. Engineer", "why not")
    draft = edit_draft(connection, changed(make_up__no_record=2.5))
    assert (draft.based_on, draft.revision) == (1, 1)
    assert draft_policy(connection).make_up.no_record == 2.5
    assert current_policy(connection).make_up.no_record != 2.5
    for by, note in (("", "why"), ("E. Engineer", "  ")):
        with pytest.raises(PublisherUnnamed):
            publish_draft(connection, by, note)
    published = publish_draft(connection, "E. Engineer", "what the audit of 2026 asked for")
    assert (published.policy_version, published.published_by) == (2, "E. Engineer")
    assert current_policy(connection).make_up.no_record == 2.5
    assert version_of(connection, 1).document == default_document()
    assert [version.policy_version for version in list_policies(connection)] == [2, 1]
    with pytest.raises(DraftUnknown):
        draft_policy(connection)


def test_a_version_published_before_there_was_a_planning_table_is_drafted_and_published_on(
    connection: Connection,
) -> None:
    publish_first(connection)
    old = changed(make_up__no_record=2.5)
    del old["planning"]
    edit_draft(connection, old)
    publish_draft(connection, "E. Engineer", "as it was")
    current = current_version(connection).document
    assert "planning" not in current
    assert policy_text(current)
    edit_draft(connection, {**current, "planning": {**changed()["planning"], "visit_minutes": 45.0}})
    publish_draft(connection, "E. Engineer", "visits take longer")
    assert current_policy(connection).planning.visit_minutes == 45.0


@pytest.mark.parametrize(
    "statement",
    ["UPDATE policy_version SET note = 'other'", "DELETE FROM policy_version", "TRUNCATE policy_version CASCADE"],
)
def test_a_published_version_is_never_edited(connection: Connection, statement: str) -> None:
    publish_first(connection)
    with pytest.raises(psycopg.Error, match=r"append-only|permission denied"):
        connection.execute(statement)


def test_an_unknown_key_is_refused_with_its_path(connection: Connection) -> None:
    publish_first(connection)
    document = changed(vibration__exponentt=3, family__0__check_minute=5, family__1__check_minutes="long")
    with pytest.raises(PolicyInvalid) as refused:
        edit_draft(connection, document)
    found = {issue.column for issue in refused.value.issues}
    assert found == {"vibration.exponentt", "family[0].check_minute", "family[1].check_minutes"}
    with pytest.raises(DraftUnknown):
        draft_policy(connection)


def test_a_family_that_joints_are_of_cannot_be_left_out(connection: Connection) -> None:
    fill_site(connection, 60)
    document = default_document()
    document["family"] = document["family"][1:]
    with pytest.raises(PolicyInvalid) as refused:
        edit_draft(connection, document)
    assert [issue.value for issue in refused.value.issues] == ["flanged"]


def test_who_saves_over_anothers_draft_is_told(connection: Connection) -> None:
    publish_first(connection)
    edit_draft(connection, changed(make_up__no_record=2.5), revision=0)
    with pytest.raises(DraftOvertaken):
        edit_draft(connection, changed(make_up__no_record=2.6), revision=0)
    assert edit_draft(connection, changed(make_up__no_record=2.6), revision=1).revision == 2
    with pytest.raises(DraftOvertaken):
        publish_draft(connection, "E. Engineer", "why", revision=1)
    with pytest.raises(DraftOvertaken):
        drop_draft(connection, revision=1)
    drop_draft(connection, revision=2)
    with pytest.raises(DraftUnknown):
        drop_draft(connection)


def test_a_draft_based_on_an_older_version_is_not_published(connection: Connection) -> None:
    publish_first(connection)
    edit_draft(connection, changed(make_up__no_record=2.5))
    connection.execute(
        "INSERT INTO policy_version (site_id, policy_version, document, published_by, note)"
        " SELECT site_id, 2, document, 'O. Other', 'meanwhile' FROM policy_version WHERE site_id = current_site()"
    )
    with pytest.raises(DraftOvertaken, match=r"O\. Other"):
        publish_draft(connection, "E. Engineer", "why")


def test_a_policy_goes_out_as_toml_and_comes_back_the_same(connection: Connection) -> None:
    publish_first(connection)
    stored = current_version(connection).document
    text = policy_text(stored)
    assert tomllib.loads(text) == default_document()
    assert text.index("[vibration]") < text.index("[thermal]")
    assert edit_draft(connection, document_of_text(text, "policy.toml")).document == stored
    with pytest.raises(PolicyInvalid, match=r"policy\.toml is not TOML"):
        document_of_text("title = ", "policy.toml")


def test_differences_name_rows_by_what_they_are() -> None:
    new = changed(family__2__check_minutes=99, assumed__vibration_mm_s=4.0)
    code = new["family"][2]["code"]
    assert {(found.path, found.new) for found in differences(default_document(), new)} == {
        (f"family[{code}].check_minutes", 99),
        ("assumed.vibration_mm_s", 4.0),
    }
    assert differences(new, new) == []


def test_a_preview_says_what_publishing_then_does(connection: Connection) -> None:
    fill_site(connection, 300)
    before = score_plant(connection, AS_OF)
    published = current_version(connection).document
    document = copy.deepcopy(published)
    for row in document["class"]:
        row["tolerable_leaks_per_year"] /= 4
    edit_draft(connection, document)
    tables = "score_run", "score", "policy_version", "planned_check", "interval_override"
    counted = [number(connection, f"SELECT count(*) FROM {table}") for table in tables]
    preview = preview_draft(connection, AS_OF)
    assert [number(connection, f"SELECT count(*) FROM {table}") for table in tables] == counted
    assert (preview.joints, preview.published_version) == (300, 1)
    assert preview.shorter > 0
    assert preview.longer == 0
    assert preview.beyond_checking_now == before.beyond_checking
    assert sum(family.joints for family in preview.families) == 300
    assert sum(family.shorter for family in preview.families) == preview.shorter
    assert len(preview.months) == 24
    assert preview.months[0].month == "2026-11"
    assert sum(m.checks_then for m in preview.months) > sum(m.checks_now for m in preview.months)
    assert all(joint.tag.startswith("J-") for joint in preview.most_changed)
    assert preview.beyond_checking_then > preview.beyond_checking_now
    assert {joint.beyond_checking_now for joint in preview.newly_beyond_checking} == {False}
    assert asdict(preview)["families"][0]["family"]

    version, after = publish_policy(connection, "E. Engineer", "stricter", AS_OF)
    assert version.policy_version == after.policy_version == current_run(connection).policy_version == 2
    assert after.beyond_checking == preview.beyond_checking_then
    assert after.overdue == preview.overdue_then


def test_a_draft_that_changes_nothing_changes_no_joint(connection: Connection) -> None:
    fill_site(connection, 60)
    edit_draft(connection, current_version(connection).document)
    preview = preview_draft(connection, AS_OF)
    assert (preview.shorter, preview.longer, preview.most_changed, preview.newly_beyond_checking) == (0, 0, (), ())
    assert all(m.checks_now == m.checks_then and m.hours_now == m.hours_then for m in preview.months)


def test_a_service_treated_as_a_fluid_that_nobody_knows_is_refused_before_it_is_published(
    connection: Connection,
) -> None:
    fill_site(connection, 10)
    edit_draft(connection, changed(service__0__treated_as="phlogiston"))
    for act in (
        lambda: preview_draft(connection, AS_OF),
        lambda: publish_policy(connection, "E. Engineer", "why", AS_OF),
    ):
        with pytest.raises(PolicyInvalid) as refused:
            act()
        assert [issue.column for issue in refused.value.issues] == ["service[0].treated_as"]
    assert current_version(connection).policy_version == 1
