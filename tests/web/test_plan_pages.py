"""The plan's pages: the board says what the plan says; a move, a deferral and a plan are weighed, then kept."""

import re
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, timedelta
from typing import Any
from urllib.parse import parse_qs, urlencode, urlsplit

import pytest
from fastapi.testclient import TestClient

from registry.planning.changes import Bundle
from registry.planning.model import PlanSummary
from registry.planning.service import current_plan, list_bundles, list_unplaced, summary
from tests.web.demo_site import TODAY, DemoSite
from tests.web.html import elements_of, words_of

MONDAY = TODAY - timedelta(days=TODAY.weekday())


def told(demo: DemoSite) -> PlanSummary:
    """The newest plan in numbers."""
    with demo.database.transaction(demo.site_id) as connection:
        return summary(connection, current_plan(connection))


def said_on(page: str) -> str:
    """The words of a page, stops and commas close to what they end."""
    return re.sub(r"\s+([.,;:])", r"\1", words_of(page))


def cells_of(page: str) -> dict[tuple[str, int], str]:
    """The words of each cell of the board, by week and crew."""
    found: dict[tuple[str, int], str] = {}
    for piece in page.split('<td class="cell')[1:]:
        head, _, rest = piece.partition(">")
        week, crew = re.search(r'data-week="([^"]+)"', head), re.search(r'data-crew="(\d+)"', head)
        assert week is not None
        assert crew is not None
        found[week.group(1), int(crew.group(1))] = words_of(rest.partition("</td>")[0])
    return found


def bundle_links(page: str) -> list[str]:
    """The addresses of the bundles of the open cell."""
    return [
        e.attributes["href"] or ""
        for e in elements_of(page, "a")
        if "/weeks/bundle?" in (e.attributes.get("href") or "")
    ]


def fields_of(href: str) -> dict[str, str]:
    """What names a bundle, from its address."""
    return {name: values[0] for name, values in parse_qs(urlsplit(href).query).items()}


# ---------------------------------------------------------------- reading


def test_the_board_s_cells_say_what_the_plan_says(pages: TestClient, demo: DemoSite) -> None:
    plan = told(demo)
    seen: dict[tuple[str, int], str] = {}
    for first in range(0, plan.plan.weeks, 13):
        monday = plan.plan.starts_on + timedelta(weeks=first)
        seen |= cells_of(pages.get(f"{demo.root}/weeks", params={"from": str(monday)}).text)
    assert sum(1 for row in plan.crew_weeks if row.checks) > 10
    for row in plan.crew_weeks:
        words = seen[str(row.week_starting_on), row.crew_id]
        assert f"{row.minutes / 60:,.1f} of {row.capacity_minutes / 60:,.1f} h" in words
        assert f"{row.checks:,} check" in words
        assert (f"{row.late:,} late" in words) == (row.late > 0)


def test_turning_pages_shows_every_week_once(pages: TestClient, demo: DemoSite) -> None:
    following: str | None = f"{demo.root}/weeks"
    weeks: list[str] = []
    while following:
        page = pages.get(following).text
        weeks += [e.attributes["datetime"] or "" for e in elements_of(page, "time")]
        later = [e for e in elements_of(page, "a") if e.text == "Later weeks"]
        following = later[0].attributes["href"] if later else None
    plan = told(demo).plan
    assert weeks == [str(plan.starts_on + timedelta(weeks=week)) for week in range(plan.weeks)]


def test_an_opened_cell_lists_its_bundles_overdue_first_and_leaves_no_check_out(
    pages: TestClient, demo: DemoSite
) -> None:
    row = max(told(demo).crew_weeks, key=lambda row: (row.late, row.checks))
    query = urlencode({"week": row.week_starting_on, "crew": row.crew_id})
    page = pages.get(f"{demo.root}/weeks?{query}").text
    with demo.database.transaction(demo.site_id) as connection:
        bundles = [
            bundle
            for bundle in list_bundles(connection, current_plan(connection), row.week_starting_on)
            if bundle.crew_id == row.crew_id
        ]
    links = [fields_of(href) for href in bundle_links(page)]
    assert {(link["area"], link["scaffold"]) for link in links} == {
        (str(bundle.area_id), str(bundle.scaffold)) for bundle in bundles
    }
    late = {(str(bundle.area_id), str(bundle.scaffold)): bundle.late for bundle in bundles}
    in_order = [late[link["area"], link["scaffold"]] > 0 for link in links]
    assert in_order == sorted(in_order, reverse=True)
    assert f"{row.checks} checks in {len(bundles)} bundle" in words_of(page)
    opened = [e for e in elements_of(page, "a") if e.attributes.get("aria-current") == "true"]
    assert len(opened) == 1


def test_the_account_says_what_it_costs_what_limits_it_and_what_has_no_week(pages: TestClient, demo: DemoSite) -> None:
    plan = told(demo)
    page = pages.get(f"{demo.root}/weeks").text
    words = said_on(page)
    limits = pages.get(f"/api/v1{demo.root}/plan").json()["limits"]
    assert limits
    assert [sentence for sentence in limits if sentence not in words] == []
    hours = {e.attributes["data-label"]: e for e in elements_of(page, "td") if e.attributes.get("data-label")}
    assert hours["Share"].text == "100 %"
    parts = re.search(r"late ([\d.,]+) \d+ %.* early ([\d.,]+) \d+ %.* visits ([\d.,]+) .* all ([\d.,]+) 100 %", words)
    assert parts is not None
    assert float(parts.group(1).replace(",", "")) == pytest.approx(plan.plan.late_minutes / 60, abs=0.05)
    assert float(parts.group(4).replace(",", "")) == pytest.approx(plan.plan.cost_minutes / 60, abs=0.05)
    assert f"In no week {plan.unplaced_checks:,}" in words
    assert f"Placed {plan.checks:,} checks" in words


def test_what_has_no_week_is_listed_by_reason_with_the_ways_on(pages: TestClient, demo: DemoSite) -> None:
    plan = told(demo)
    assert plan.unplaced
    reason = plan.unplaced[0].reason
    some = sum(row.checks for row in plan.unplaced if row.reason == reason)
    page = pages.get(f"{demo.root}/weeks/unplaced", params={"reason": reason.name.lower()}).text
    rows = [e for e in elements_of(page, "a") if (e.attributes.get("aria-label") or "").startswith("Put ")]
    assert len(rows) == min(some, 200)
    assert reason.words in words_of(page)
    placing = pages.get(rows[0].attributes["href"] or "")
    assert placing.status_code == 200
    assert reason.words in words_of(placing.text)
    assert pages.get(f"{demo.root}/weeks/unplaced", params={"reason": "bad_luck"}).status_code == 422


def test_a_move_is_said_in_the_same_words_with_and_without_script(pages: TestClient, demo: DemoSite) -> None:
    href = bundle_links(pages.get(f"{demo.root}/weeks").text)[0]
    fields = fields_of(href)
    target = {"to_week": str(date.fromisoformat(fields["week"]) + timedelta(weeks=2)), "to_crew": fields["crew"]}
    said = pages.get(f"{demo.root}/weeks/effect.json", params=fields | target).json()
    words = said_on(pages.get(f"{demo.root}/weeks/bundle", params=fields | target).text)
    for line in (said["what"], *said["effects"]):
        assert line in words
    assert [kind for kind in ("Risk:", "Cost:", "Hours:", "Late:") if kind in words] == [
        "Risk:",
        "Cost:",
        "Hours:",
        "Late:",
    ]
    stays = {"to_week": fields["week"], "to_crew": fields["crew"]}
    assert "kept with" in pages.get(f"{demo.root}/weeks/effect.json", params=fields | stays).json()["what"]
    plan = told(demo).plan
    beyond = {"to_week": str(plan.ends_on - timedelta(weeks=1)), "to_crew": fields["crew"]}
    refused = pages.get(f"{demo.root}/weeks/effect.json", params=fields | beyond).json()["refused"]
    page = pages.get(f"{demo.root}/weeks/bundle", params=fields | beyond).text
    assert any("latest day" in reason for reason in refused)
    assert "It cannot be:" in words_of(page)
    assert not [e for e in elements_of(page, "form") if e.attributes.get("action", "").endswith("/weeks/moves")]


@pytest.mark.parametrize(
    "query",
    [
        {"plan": 999, "week": MONDAY, "crew": 1, "area": 1, "scaffold": 0},
        {"plan": 1, "week": "2020-01-06", "crew": 1, "area": 1, "scaffold": 0},
        {"plan": 1, "week": MONDAY, "crew": 999, "area": 1, "scaffold": 0},
    ],
)
def test_a_bundle_that_is_not_there_is_said_so(pages: TestClient, demo: DemoSite, query: dict[str, Any]) -> None:
    answer = pages.get(f"{demo.root}/weeks/bundle", params=query | {"to_week": MONDAY, "to_crew": 1})
    assert answer.status_code in (404, 409)
    assert "Nothing was changed" in words_of(answer.text)


def test_the_plan_can_be_taken_away_as_csv_and_as_a_workbook(pages: TestClient, demo: DemoSite) -> None:
    page = pages.get(f"{demo.root}/weeks").text
    links = [e.attributes["href"] or "" for e in elements_of(page, "a") if "download" in e.attributes]
    kinds = [pages.get(link).headers["content-type"].partition(";")[0] for link in links]
    assert kinds == ["text/csv", "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"]


def test_a_site_without_a_plan_says_what_to_do_first(empty_pages: TestClient) -> None:
    answer = empty_pages.get("/sites/new-plant/weeks")
    assert answer.status_code == 200
    assert "jointwright --site new-plant load joints" in words_of(answer.text)
    assert empty_pages.get("/sites/new-plant/weeks/moves").status_code == 404
    assert empty_pages.get("/sites/new-plant/crews").status_code == 200


# ---------------------------------------------------------------- moving, deferring, planning


def a_move(pages: TestClient, demo: DemoSite, *, over: bool) -> tuple[Bundle, dict[str, str], dict[str, str]]:
    """A bundle that may go to the next week, within its crew's hours or over them; its fields and the target's."""
    with demo.database.transaction(demo.site_id) as connection:
        bundles = list_bundles(connection, current_plan(connection))
    for bundle in sorted(bundles, key=lambda each: -each.minutes if over else each.minutes):
        key = bundle.key
        named = {"plan": key.plan_run_id, "week": key.week_starting_on, "crew": key.crew_id, "area": key.area_id}
        fields = {name: str(value) for name, value in (named | {"scaffold": key.scaffold}).items()}
        target = {"to_week": str(bundle.week_starting_on + timedelta(weeks=1)), "to_crew": fields["crew"]}
        effect = pages.get(f"{demo.root}/weeks/effect.json", params=fields | target).json()
        if effect.get("refused") == [] and bool(effect["over"]) is over:
            return bundle, fields, target
    pytest.fail("there is no such move")


def test_a_bundle_is_moved_with_a_reason_and_a_name_held_and_let_go(
    written_pages: TestClient, written_demo: DemoSite
) -> None:
    root = written_demo.root
    bundle, fields, target = a_move(written_pages, written_demo, over=False)
    nameless = written_pages.post(f"{root}/weeks/moves", data=fields | target | {"reason": "crane"})
    assert nameless.status_code == 422
    assert "say who moves it" in words_of(nameless.text)
    why = {"reason": "the crane comes then", "moved_by": "A. Planner"}
    moved = written_pages.post(f"{root}/weeks/moves", data=fields | target | why)
    assert moved.status_code == 303
    page = written_pages.get(moved.headers["location"].partition("#")[0]).text
    assert re.search(rf"{bundle.checks} checks? put here", words_of(page))
    assert " held" in cells_of(page)[target["to_week"], bundle.crew_id]
    moves = words_of(written_pages.get(f"{root}/weeks/moves", params={"reason": "by_hand"}).text)
    assert "the crane comes then" in moves
    assert "A. Planner" in moves
    assert written_pages.get(f"{root}/weeks/moves", params={"reason": "whim"}).status_code == 422

    freed = written_pages.post(f"{root}/weeks/let-go", data=fields | {"week": target["to_week"]})
    assert freed.status_code == 303
    page = written_pages.get(freed.headers["location"].partition("#")[0]).text
    assert "let go: they stand where they are" in words_of(page)
    assert " held" not in cells_of(page)[target["to_week"], bundle.crew_id]


def test_over_its_hours_a_crew_goes_only_when_somebody_says_so(
    written_pages: TestClient, written_demo: DemoSite
) -> None:
    root = written_demo.root
    _, fields, target = a_move(written_pages, written_demo, over=True)
    page = written_pages.get(f"{root}/weeks/bundle", params=fields | target).text
    assert "The crew may be over its hours" in words_of(page)
    why = {"reason": "overtime agreed", "moved_by": "A. Planner"}
    assert written_pages.post(f"{root}/weeks/moves", data=fields | target | why).status_code == 409
    kept = written_pages.post(f"{root}/weeks/moves", data=fields | target | why | {"over_time": "yes"})
    assert kept.status_code == 303
    page = written_pages.get(kept.headers["location"].partition("#")[0]).text
    assert " h over" in cells_of(page)[target["to_week"], int(target["to_crew"])]


def test_a_deferral_shows_its_risk_before_anybody_signs_it(written_pages: TestClient, written_demo: DemoSite) -> None:
    with written_demo.database.transaction(written_demo.site_id) as connection:
        check = next(each for each in list_unplaced(connection, current_plan(connection)) if each.occurrence == 0)
    here = f"{written_demo.root}/weeks/deferrals"
    until = str(max(check.latest_on, TODAY) + timedelta(weeks=20))
    words = words_of(written_pages.get(here, params={"tag": check.tag, "until_on": until}).text)
    assert re.search(r"Risk: [\d.e-]+ more expected leaks, weighted by class", words)
    sent = {"tag": check.tag, "until_on": until, "reason": "no outage before autumn"}
    assert written_pages.post(here, data=sent).status_code == 422
    assert "There is none." in words_of(written_pages.get(here).text)
    assert written_pages.post(here, data=sent | {"decided_by": "I. Engineer"}).status_code == 303
    words = words_of(written_pages.get(here).text)
    for said in (check.tag, until, "no outage before autumn", "I. Engineer"):
        assert said in words
    for spoilt in ("yesterday", "2020-01-01"):
        assert written_pages.get(here, params={"tag": check.tag, "until_on": spoilt}).status_code == 422


def test_a_plan_is_made_beside_the_one_that_stands_and_then_shown(
    written_pages: TestClient, written_demo: DemoSite
) -> None:
    root, before = written_demo.root, told(written_demo).plan
    sent = {"starts_on": str(TODAY), "weeks": "8", "frozen_weeks": "1", "planned_weeks": "4", "asked_by": "B. Planner"}
    assert written_pages.post(f"{root}/weeks/jobs", data=sent | {"weeks": "0"}).status_code == 422
    begun = written_pages.post(f"{root}/weeks/jobs", data=sent)
    assert begun.status_code == 303
    job = begun.headers["location"]
    for _ in range(600):
        progress = written_pages.get(f"{job}/progress.json").json()
        if progress["over"]:
            break
        time.sleep(0.05)
    assert progress == {"percent": 100.0, "stage": "done", "over": True}
    assert written_pages.get(job).headers["location"] == f"{root}/weeks"
    after = told(written_demo).plan
    assert (after.weeks, after.frozen_weeks, after.made_by) == (8, 1, "B. Planner")
    assert after.plan_run_id > before.plan_run_id
    assert "8 weeks from 2026-03-02" in words_of(written_pages.get(f"{root}/weeks").text)
    assert written_pages.post(f"{job}/stop").status_code == 409, "it is over"
    assert written_pages.get(f"{root}/weeks/jobs/999").status_code == 404


@contextmanager
def a_running_job(demo: DemoSite) -> Iterator[int]:
    """A job that somebody works on, a third of the way."""
    with demo.database.transaction(demo.site_id) as worker, demo.database.transaction(demo.site_id) as beside:
        row = beside.execute(
            "INSERT INTO plan_job (site_id, request, state, stage, share_done, asked_by) VALUES (current_site(),"
            """ '{"starts_on": "2026-03-02", "weeks": 52}', 'running', 'placing 1,200 checks', 0.34, 'C. Planner')"""
            " RETURNING plan_job_id"
        ).fetchone()
        assert row is not None
        beside.commit()
        worker.execute("SELECT pg_advisory_xact_lock(hashtext('plan_job'), %s)", [row[0]])
        yield int(row[0])


def test_a_running_job_is_watched_without_script_too_and_can_be_stopped(
    written_pages: TestClient, written_demo: DemoSite
) -> None:
    root = written_demo.root
    with a_running_job(written_demo) as number:
        page = written_pages.get(f"{root}/weeks/jobs/{number}").text
        assert "Placing 1,200 checks." in words_of(page)
        assert "34 %" in words_of(page)
        assert '<noscript><meta http-equiv="refresh" content="2"></noscript>' in page
        assert "A plan is being made: 34 %." in words_of(written_pages.get(f"{root}/weeks").text)
        assert written_pages.post(f"{root}/weeks/jobs/{number}/stop").status_code == 303
        assert "asked to stop" in words_of(written_pages.get(f"{root}/weeks/jobs/{number}").text)
    words = words_of(written_pages.get(f"{root}/weeks/jobs/{number}").text)
    assert "The plan before stands." in words, "whoever worked on it is gone"
    assert "The last attempt to make a plan was cut off" in words_of(written_pages.get(f"{root}/weeks").text)
