"""The commands from score to policy, run as a person would: what they print, and their exit status."""

import csv
import io
import json
import tomllib
from collections.abc import Callable
from pathlib import Path
from uuid import uuid4

import pytest

from registry.db import Database
from registry.policy.service import publish_first
from tests.conftest import new_site
from tests.database.conftest import Run
from tests.database.small_site import fill_site, number


@pytest.fixture
def run(database: Database, run_on: Callable[..., Run]) -> Run:
    """Run `jointwright` on a database of the test's own with one small site; gives status, output and errors."""
    with database.transaction(new_site(database, "works")) as connection:
        publish_first(connection)
        fill_site(connection, 60)
    return run_on(database)


def told(run: Run, *arguments: str) -> dict[str, object]:
    status, out, _ = run(*arguments, "--json")
    assert status == 0
    return json.loads(out)


def test_before_it_is_scored_every_question_says_what_to_do(run: Run) -> None:
    for arguments in (("due",), ("why", "J-00001"), ("plan",)):
        status, _, err = run(*arguments)
        assert status == 1
        assert "run `jointwright score`" in err
        assert "Traceback" not in err


def test_score_why_and_due(run: Run) -> None:
    status, out, err = run("score", "--as-of", "2026-11-25")
    assert status == 0
    assert "60 joints scored as of 2026-11-25 by policy version 1" in out
    assert "scoring 60 joints" in err
    scored = told(run, "score", "--as-of", "2026-11-25")
    assert scored["joints"] == 60
    due = told(run, "due", "--limit", "0")
    joints = due["joints"]
    assert isinstance(joints, list)
    assert (due["as_of"], len(joints)) == ("2026-11-25", 60)
    tag = joints[0]["tag"]
    status, out, _ = run("due", "--limit", "5")
    assert tag in out
    assert "the first 5" in out
    status, out, _ = run("due", "--csv", "--limit", "0", "--until", "2026-11-25")
    rows = list(csv.DictReader(io.StringIO(out)))
    assert [row["tag"] for row in rows] == [j["tag"] for j in joints if j["due_on"] <= "2026-11-25"]
    status, out, _ = run("due", "--area", "Nowhere")
    assert (status, out) == (0, "nothing falls due under this filter\n")
    assert told(run, "why", tag)["tag"] == tag
    status, out, _ = run("why", tag)
    assert joints[0]["due_on"] in out
    assert "changed since" not in out
    status, _, err = run("why", "NO-SUCH")
    assert (status, "NO-SUCH" in err) == (1, True)
    with pytest.raises(SystemExit) as usage:
        run("due", "--until", "tomorrow")
    assert usage.value.code == 2


def test_why_says_when_the_joint_changed_since(run: Run, database: Database) -> None:
    run("score")
    with database.owner() as owner:
        owner.execute("UPDATE joint SET pressure_barg = 900, temperature_degc = 500 WHERE tag = 'J-00001'")
        owner.execute("UPDATE joint SET service_id = 1 WHERE tag = 'J-00001'")
    assert "changed since it was scored" in run("why", "J-00001")[1]


def test_a_result_is_recorded_once_and_the_due_date_moves(run: Run) -> None:
    run("score")
    joint = told(run, "due")["joints"][0]
    report = ("due", "record", joint["tag"], "tight", "--by", "C. Checker", "--at", "2026-11-20T10:00Z")
    named = ("--uuid", str(uuid4()))
    status, out, _ = run(*report, *named)
    assert status == 0
    assert f"{joint['tag']}: tight, recorded\n  due on " in out
    assert f"before that on {joint['due_on']}" in out
    assert "recorded before; nothing was added" in run(*report, *named)[1]
    status, _, err = run("due", "record", joint["tag"], "weeping", *named)
    assert (status, "other content" in err) == (1, True)
    answer = told(run, "due", "record", "J-00002", "leaking", "--ppmv", "500")
    assert "is open; its repair: jointwright leaks step" in run("due", "record", "J-00002", "leaking")[1]
    status, out, _ = run("leaks", "step", str(answer["leak_id"]), "repaired", "--by", "R. Repairer")
    assert (status, "repaired on" in out) == (0, True)
    status, _, err = run("due", "record", "J-00002", "tight", "--at", "2199-01-01")
    assert (status, "future" in err) == (1, True)


def test_a_result_is_recorded_at_a_stop(run: Run, database: Database) -> None:
    run("score")
    with database.owner() as owner:
        (route_id,) = owner.execute(
            "INSERT INTO route (site_id, walk_on, crew, start_gate, shift_minutes, walking_minutes, working_minutes,"
            " considered, unreachable) SELECT site_id, '2026-11-25', 'Crew 1', 'Gate', 480, 10, 30, 5, 0 FROM site"
            " RETURNING route_id"
        ).fetchone()
        owner.execute(
            "INSERT INTO route_stop (site_id, route_id, position, joint_id, walking_minutes, working_minutes, leg)"
            " SELECT site_id, %s, 1, joint_id, 1, 5, '{0,0,0}' FROM joint WHERE tag = 'J-00003'",
            [route_id],
        )
    answer = told(run, "route", "record", str(route_id), "1", "retightened", "--by", "C. Checker")
    assert (answer["tag"], answer["result"]) == ("J-00003", "retightened")
    status, _, err = run("route", "record", str(route_id), "9", "tight")
    assert (status, "no stop 9" in err) == (1, True)
    with database.owner() as owner:
        assert number(owner, "SELECT count(*) FROM check_result WHERE route_id = %s", route_id) == 1


def test_leaks_by_area(run: Run) -> None:
    status, out, _ = run("leaks")
    assert status == 0
    assert "whole site" in out
    leak = told(run, "leaks", "report", "J-00004", "spray", "--by", "A. Operator")
    assert leak["severity"] == "spray"
    rates = told(run, "leaks")
    assert rates["whole_site"]["open_now"] == len(rates["open"])
    rows = list(csv.DictReader(io.StringIO(run("leaks", "--csv")[1])))
    assert sum(int(row["leaks"]) for row in rows) == rates["whole_site"]["leaks"]
    assert run("leaks", "report", "NO-SUCH", "weep")[0] == 1


def test_a_policy_is_shown_edited_drafted_previewed_and_published(run: Run, tmp_path: Path) -> None:
    status, text, _ = run("policy", "show")
    assert tomllib.loads(text)["title"]
    file = tmp_path / "policy.toml"
    file.write_text(text.replace("no_record = 1.5", "no_record = 4.5"))
    status, out, _ = run("policy", "draft", str(file))
    assert status == 0
    assert "make_up.no_record: 1.5 -> 4.5" in out
    status, out, _ = run("policy", "preview", "--as-of", "2026-11-25")
    assert "60 joints" in out
    assert "2026-12" in out
    assert len(told(run, "policy", "preview")["months"]) == 24
    status, out, _ = run("policy", "publish", "--by", "E. Engineer", "--note", "no record is worse here")
    assert "version 2 is in force, published by E. Engineer" in out
    assert "by policy version 2" in out
    assert "no record is worse here" in run("policy", "versions")[1]
    assert "no_record = 4.5" in run("policy", "show")[1]
    assert "no_record = 1.5" in run("policy", "show", "--version", "1")[1]


def test_a_policy_file_with_a_slip_is_refused_with_its_path(run: Run, tmp_path: Path) -> None:
    file = tmp_path / "policy.toml"
    file.write_text(run("policy", "show")[1].replace("no_record = 1.5", "norecord = 1.5"))
    status, _, err = run("policy", "draft", str(file))
    assert status == 1
    assert "make_up.norecord" in err
    file.write_text("title = ")
    assert run("policy", "draft", str(file))[0] == 1
    assert run("policy", "draft", str(tmp_path / "none.toml"))[0] == 1
    status, _, err = run("policy", "preview")
    assert (status, "no draft here" in err) == (1, True)


def test_one_joints_interval_is_overridden_and_listed(run: Run) -> None:
    run("score")
    decision = ("--days", "30", "--until", "2199-01-01", "--by", "E. Engineer", "--reason", "on trial")
    assert (
        "J-00005: 30 days until 2199-01-01, E. Engineer: on trial" in run("policy", "override", "J-00005", *decision)[1]
    )
    assert told(run, "why", "J-00005")["limit"] == "override"
    assert "1 in force" in run("policy", "override")[1]
    with pytest.raises(SystemExit):
        run("policy", "override", "J-00005", "--days", "30")


def test_readings_and_histories_are_loaded_by_what_their_headings_tell(run: Run, tmp_path: Path) -> None:
    run("score")
    file = tmp_path / "checks.csv"
    file.write_text("tag,observed_at,result\nJ-00001,2026-11-20,tight\n")
    status, out, _ = run("load", "history", str(file))
    assert status == 0
    assert "1 added" in out
    assert "60 joints were scored anew" in out
    assert "0 added, 0 changed, 1 unchanged" in run("load", "history", str(file))[1]
    file.write_text("tag,velocity_in_s_pk,frequency_cpm,observed_at\nJ-00001,0.4,1480,2026-11-20\n")
    assert "1 added" in run("load", "readings", str(file))[1]
    file.write_text("tag,observed_at,result\nNO-SUCH,2026-11-20,tight\n")
    status, _, err = run("load", "history", str(file))
    assert status == 1
    assert "row 2, column 'tag'" in err
    file.write_text("tag,observed_at\nJ-00001,2026-11-20\n")
    status, _, err = run("load", "history", str(file))
    assert (status, "say --kind" in err) == (1, True)
