"""The map's answers: cells and joints agree with the database and with each other at every size of window."""

import math
from datetime import timedelta
from typing import Any

import numpy as np
import orjson
import pytest
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from registry.overview import map_window, store
from registry.overview.kept_answers import KeptAnswers
from registry.overview.map_window import Window, cell_size
from registry.overview.model import SOON_DAYS, JointFilter, due_state
from registry.overview.risk_bands import risk_band
from registry.overview.service import conditions_of, window_answer
from tests.web.demo_site import JOINTS, TODAY, DemoSite

WHOLE = Window(-50.0, -50.0, 1200.0, 700.0)

windows = st.builds(
    lambda west, south, width, height: Window(west, south, west + width, south + height),
    st.floats(-20.0, 800.0),
    st.floats(-20.0, 500.0),
    st.floats(1.0, 900.0),
    st.floats(1.0, 600.0),
)
filters = st.builds(
    JointFilter,
    area=st.sampled_from([None, "Hydrogen compression", "Jetty"]),
    family=st.sampled_from([None, "flanged", "twin_ferrule"]),
    service=st.sampled_from([None, "hydrogen"]),
    due=st.sampled_from([None, "overdue", "due_soon", "later"]),
)


def asked(demo: DemoSite, window: Window, wanted: JointFilter | None = None, **options: Any) -> dict[str, Any]:
    """An answer as the browser has it."""
    with demo.database.transaction(demo.site_id) as connection:
        sheet = store.read_sheet(connection)
        return orjson.loads(window_answer(connection, sheet, window, wanted or JointFilter(), TODAY, **options))


def every_joint(demo: DemoSite) -> list[tuple[Any, ...]]:
    """Tag, east, north, risk and due date of every joint, straight from the tables."""
    with demo.database.transaction(demo.site_id) as connection:
        return connection.execute(
            "SELECT j.tag, s.location[0], s.location[1], s.risk_now, s.due_on, a.name, f.code, v.name, j.joint_id"
            " FROM score s JOIN joint j USING (site_id, joint_id) JOIN family f ON f.family_id = s.family_id"
            " JOIN service v ON v.service_id = s.service_id LEFT JOIN area a ON a.area_id = s.area_id"
            " WHERE s.score_run_id = current_score_run()"
        ).fetchall()


def counted(joints: list[tuple[Any, ...]], edges: list[float], wanted: JointFilter) -> set[str]:
    """The joints that a window should hold, by a plain loop."""
    west, south, east, north = edges
    return {
        tag
        for tag, east_m, north_m, _, due_on, area, family, service, _ in joints
        if west <= east_m < east
        and south <= north_m < north
        and wanted.area in (None, area)
        and wanted.family in (None, family)
        and wanted.service in (None, service)
        and wanted.due in (None, due_state(due_on, TODAY))
    }


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(window=windows, wanted=filters, most_joints=st.sampled_from([0, 20, 4000]), across=st.integers(4, 64))
def test_a_window_holds_exactly_its_joints(
    demo: DemoSite, window: Window, wanted: JointFilter, most_joints: int, across: int
) -> None:
    answer = asked(demo, window, wanted, most_joints=most_joints, across=across)
    joints = every_joint(demo)
    expected = counted(joints, answer["window"], wanted)
    assert answer["joints"] == len(expected)
    columns = answer["columns"]
    if answer["kind"] == "cells":
        assert answer["joints"] > most_joints
        assert sum(columns["joints"]) == len(expected)
        assert set(answer["riskiest"]["tag"]) <= expected
        assert len(answer["riskiest"]["tag"]) == min(len(expected), map_window.RISKIEST)
    else:
        assert set(columns["tag"]) == expected
    late = {joint[0] for joint in joints if joint[0] in expected and joint[4] < TODAY}
    assert answer["overdue"] == len(late)
    assert answer["window"][0] <= window.west_m
    assert answer["window"][3] >= window.north_m


def test_a_cell_carries_the_worst_risk_and_the_most_urgent_date_of_its_joints(demo: DemoSite) -> None:
    answer = asked(demo, WHOLE, most_joints=0)
    size = answer["cell_m"]
    columns = answer["columns"]
    joints = every_joint(demo)
    for i, (east, north) in enumerate(zip(columns["east_m"], columns["north_m"], strict=True)):
        inside = [
            joint
            for joint in joints
            if math.floor(joint[1] / size) == math.floor(east / size)
            and math.floor(joint[2] / size) == math.floor(north / size)
        ]
        assert columns["joints"][i] == len(inside)
        assert columns["band"][i] == risk_band([max(joint[3] for joint in inside)])[0]
        assert columns["overdue"][i] == sum(joint[4] < TODAY for joint in inside)
        soon = TODAY + timedelta(days=SOON_DAYS)
        assert columns["due_soon"][i] == sum(TODAY <= joint[4] <= soon for joint in inside)


def test_the_riskiest_come_last_and_are_the_riskiest(demo: DemoSite) -> None:
    order = [tag for tag, *_ in sorted(every_joint(demo), key=lambda joint: (joint[3], -joint[8]))]
    assert asked(demo, WHOLE, most_joints=0)["riskiest"]["tag"] == order[-map_window.RISKIEST :]
    assert asked(demo, WHOLE)["columns"]["tag"][-50:] == order[-50:]


@pytest.mark.parametrize("wanted", [JointFilter(), JointFilter(due="overdue"), JointFilter(area="Jetty")])
def test_a_wide_window_is_found_by_another_way_with_the_same_answer(demo: DemoSite, wanted: JointFilter) -> None:
    with demo.database.transaction(demo.site_id) as connection:
        conditions = conditions_of(connection, wanted, TODAY)
        edges = WHOLE.out_to(20.0).edges()
        cells = [
            sorted(store.window_cells(connection, edges, 20.0, conditions, TODAY, wide=wide)) for wide in (True, False)
        ]
        riskiest = [
            store.window_riskiest(connection, edges, conditions, TODAY, 30, wide=wide) for wide in (True, False)
        ]
        joints = [store.window_joints(connection, edges, conditions, TODAY, wide=wide) for wide in (True, False)]
    assert cells[0] == cells[1]
    assert joints[0] == joints[1]
    assert riskiest[0] == riskiest[1]


def test_the_database_and_python_put_a_risk_in_the_same_band(demo: DemoSite) -> None:
    risks = [0.0, 0.00999, 0.01, 0.02, 0.03, 0.0999, 0.1, 0.3, 0.31, 50.0, *np.geomspace(1e-6, 10.0, 40)]
    with demo.database.transaction(demo.site_id) as connection:
        found = [
            connection.execute(
                "SELECT width_bucket(%s::double precision, %s::double precision[]) + 1", [risk, store._EDGES]
            ).fetchall()[0][0]
            for risk in risks
        ]
    assert found == risk_band(risks).tolist()


@given(window=windows, across=st.integers(4, 64))
def test_cells_are_round_and_no_more_than_asked_for(window: Window, across: int) -> None:
    size = cell_size(window, across)
    longest = max(window.east_m - window.west_m, window.north_m - window.south_m)
    assert longest / size <= across * (1 + 1e-6)
    assert f"{size:.9e}"[0] in "125"


def test_an_unchanged_map_is_not_sent_again(pages: TestClient, demo: DemoSite) -> None:
    where = f"/api/v1{demo.root}/map?west=0&south=0&east=900&north=600"
    answer = pages.get(where)
    assert answer.status_code == 200
    assert answer.json()["joints"] == JOINTS
    again = pages.get(where, headers={"If-None-Match": answer.headers["etag"]})
    assert (again.status_code, again.content) == (304, b"")
    assert pages.get(where, headers={"If-None-Match": 'W/"other"'}).status_code == 200


def test_a_recorded_check_makes_the_map_new(own_pages: TestClient, own_demo: DemoSite) -> None:
    where = f"/api/v1{own_demo.root}/map?west=0&south=0&east=900&north=600"
    before = own_pages.get(where)
    tag = before.json()["columns"]["tag"][-1]
    sent = {
        "tag": tag,
        "result": "tight",
        "observed_at": f"{TODAY}T10:00:00Z",
        "client_uuid": "6f1c1f5e-0d5b-4a52-9d5c-0b3d3f0f7a11",
    }
    assert own_pages.post(f"/api/v1{own_demo.root}/checks", json=sent).status_code == 201
    after = own_pages.get(where, headers={"If-None-Match": before.headers["etag"]})
    assert after.status_code == 200
    assert after.json() != before.json()


@pytest.mark.parametrize(
    ("query", "slug"),
    [
        ("west=0&south=0&east=0&north=5", "window-unfit"),
        ("west=0&south=9&east=5&north=5", "window-unfit"),
        ("west=nan&south=0&east=5&north=5", "window-unfit"),
        ("west=0&south=0&east=inf&north=5", "window-unfit"),
        ("west=0&south=0&east=5", "request-invalid"),
        ("west=0&south=0&east=5&north=5&area=Atlantis", "filter-unknown"),
        ("west=0&south=0&east=5&north=5&due=never", "request-invalid"),
    ],
)
def test_a_window_that_is_none_is_refused(pages: TestClient, demo: DemoSite, query: str, slug: str) -> None:
    answer = pages.get(f"/api/v1{demo.root}/map?{query}")
    assert answer.status_code == 422
    assert answer.json()["type"].endswith(slug)


def test_an_unscored_site_has_an_empty_map(empty_pages: TestClient) -> None:
    answer = empty_pages.get("/api/v1/sites/new-plant/map?west=0&south=0&east=900&north=600").json()
    assert (answer["kind"], answer["joints"], answer["columns"]["tag"]) == ("joints", 0, [])


def test_an_engineer_s_decision_makes_the_map_new(own_pages: TestClient, own_demo: DemoSite) -> None:
    where = f"/api/v1{own_demo.root}/map?west=0&south=0&east=900&north=600"
    before = own_pages.get(where)
    tag = before.json()["columns"]["tag"][0]
    decision = {
        "tag": tag,
        "interval_days": 20,
        "until_on": str(TODAY + timedelta(days=300)),
        "decided_by": "R. Quill",
        "reason": "a bracket is missing",
    }
    made = own_pages.post(f"/api/v1{own_demo.root}/overrides", json=decision)
    assert made.status_code == 201, made.text
    after = own_pages.get(where, headers={"If-None-Match": before.headers["etag"]})
    assert after.status_code == 200
    due = dict(zip(after.json()["columns"]["tag"], after.json()["columns"]["due_on"], strict=True))
    assert due[tag] != dict(zip(before.json()["columns"]["tag"], before.json()["columns"]["due_on"], strict=True))[tag]


def test_kept_answers_are_those_last_asked_for() -> None:
    kept = KeptAnswers(2)
    kept.put("a", b"1")
    kept.put("b", b"2")
    assert kept.get("a") == b"1"
    kept.put("c", b"3")
    assert (kept.get("a"), kept.get("b"), kept.get("c")) == (b"1", None, b"3")
