"""The account of one joint: the stored score to 1e-9, in the agreed shape, and honest when it no longer agrees."""

import json
import math

import pytest

from registry.db import Connection
from registry.intervals.decisions import JointNotScored, NotScored
from registry.intervals.model import LIMITS
from registry.intervals.service import agrees, score_plant, why
from registry.joints.model import JointUnknown
from tests.database.small_site import AS_OF, fill_site

# The keys of the stable JSON, in its order, with the keys below them.
SHAPE = {
    "tag": str,
    "policy_version": int,
    "as_of": str,
    "defect_rate_per_year": float,
    "delay_rate_per_year": float,
    "detection_probability": float,
    "factors": {"name": str, "value": float, "input": str, "origin": str, "source": str},
    "consequence": {"class": int, "release_kg_s": float, "reasons": list},
    "tolerable_leaks_per_year": float,
    "interval_days": float,
    "limit": str,
    "beyond_checking": bool,
    "last_satisfactory_on": str,
    "due_on": str,
    "leak_rate_now_per_year": float,
    "likelihood_class": int,
    "risk_rank": int,
}
COLUMNS = (
    "defect_rate_per_year, delay_rate_per_year, detection_probability, release_kg_s, consequence_class,"
    " tolerable_leaks_per_year, interval_days, interval_limit, beyond_checking, last_satisfactory_on::text,"
    " due_on::text, leak_rate_now_per_year, likelihood_class, risk_rank"
)


def test_a_thousand_accounts_agree_with_the_stored_scores(connection: Connection) -> None:
    tags = fill_site(connection, 1000, lines=60, seed=3)
    score_plant(connection, AS_OF)
    rows = dict(
        (row[0], row[1:])
        for row in connection.execute(
            f"SELECT j.tag, {COLUMNS} FROM score JOIN joint j USING (site_id, joint_id) WHERE site_id = current_site()"
        ).fetchall()
    )
    for tag in tags:
        said = why(connection, tag).as_json()
        consequence = said["consequence"]
        stored = rows[tag]
        for mine, theirs in zip(
            (
                said["defect_rate_per_year"],
                said["delay_rate_per_year"],
                said["detection_probability"],
                consequence["release_kg_s"],
                said["tolerable_leaks_per_year"],
                said["interval_days"],
                said["leak_rate_now_per_year"],
            ),
            (*stored[:4], stored[5], stored[6], stored[11]),
            strict=True,
        ):
            assert math.isclose(mine, theirs, rel_tol=1e-9, abs_tol=1e-15), tag
        assert (
            consequence["class"],
            said["limit"],
            said["beyond_checking"],
            said["last_satisfactory_on"],
            said["due_on"],
            said["likelihood_class"],
            said["risk_rank"],
        ) == (stored[4], LIMITS[stored[7]], stored[8], stored[9], stored[10], stored[12], stored[13])
        assert math.isclose(
            math.prod(factor["value"] for factor in said["factors"]), said["defect_rate_per_year"], rel_tol=1e-9
        )


def test_the_json_has_the_agreed_keys_in_the_agreed_order(connection: Connection) -> None:
    tags = fill_site(connection, 20)
    score_plant(connection, AS_OF)
    said = json.loads(json.dumps(why(connection, tags[0]).as_json()))
    assert list(said) == list(SHAPE)
    for key, kind in SHAPE.items():
        if isinstance(kind, type):
            assert type(said[key]) is kind, key
    assert list(said["consequence"]) == ["class", "release_kg_s", "reasons"]
    for factor in said["factors"]:
        assert {name: type(value) for name, value in factor.items()} == SHAPE["factors"]
        assert factor["origin"] in ("measured", "record", "assumed", "learned")
        assert factor["source"]


def test_the_text_can_be_read_by_a_person(connection: Connection) -> None:
    tags = fill_site(connection, 20)
    score_plant(connection, AS_OF)
    account = why(connection, tags[0])
    text = account.as_text()
    assert str(account.due_on) in text
    assert len(text.splitlines()) < 45
    for factor in account.factors:
        assert f"[{factor.origin}]" in text
        assert factor.source in text


def test_an_account_that_the_stored_score_no_longer_matches_is_told_from_one_that_it_does(
    connection: Connection,
) -> None:
    tags = fill_site(connection, 20)
    score_plant(connection, AS_OF)
    assert agrees(connection, why(connection, tags[0]))
    connection.execute("UPDATE joint SET vibration_mm_s = 90, vibration_hz = 30 WHERE tag = %s", [tags[0]])
    connection.execute("DELETE FROM joint_last_make_up WHERE false")
    connection.execute(
        "UPDATE joint_last_vibration SET velocity_mm_s = 90, frequency_hz = 30 WHERE joint_id ="
        " (SELECT joint_id FROM joint WHERE tag = %s)",
        [tags[0]],
    )
    assert not agrees(connection, why(connection, tags[0]))


def test_who_asks_for_what_is_not_there_is_told(connection: Connection) -> None:
    tags = fill_site(connection, 3)
    with pytest.raises(JointUnknown):
        why(connection, "NO-SUCH")
    with pytest.raises(NotScored):
        why(connection, tags[0])
    score_plant(connection, AS_OF)
    connection.execute(
        "INSERT INTO joint (site_id, tag, family_id, service_id, location, pressure_barg, intake_id)"
        " SELECT site_id, 'J-NEW', family_id, service_id, location, pressure_barg, intake_id FROM joint LIMIT 1"
    )
    with pytest.raises(JointNotScored):
        why(connection, "J-NEW")
