"""`jointwright make-up` and the lists of people and tools, run as a person would."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from registry.db import Database
from tests.conftest import new_site
from tests.database.conftest import Run
from tests.database.make_up_papers import CALIBRATIONS, HALF_INCH, PEOPLE, TOOLS, prepared

GOOD = [f"{key}={answer}" for key, answer in HALF_INCH.items()]
RECORD = ("make-up", "record", "H2-0001", "--method", "torque", "--on", "2026-11-24", "--by", "Ann Fitter")


@pytest.fixture
def run(database: Database, run_on: Callable[..., Run]) -> Run:
    """Run `jointwright` on a database of the test's own with one small site; gives status, output and errors."""
    with database.transaction(new_site(database, "works")) as connection:
        prepared(connection)
    return run_on(database)


def test_a_make_up_is_refused_then_accepted_and_shown(run: Run, tmp_path: Path) -> None:
    wrong = [answer.replace("TW-014", "TW-015") for answer in GOOD]
    status, out, _ = run(*RECORD, "--answer", *wrong, "--witness", "W. Witness")
    assert status == 0
    assert "not accepted (make-up" in out
    assert "refused: TW-015 was out of calibration on 2026-11-24" in out
    answers = tmp_path / "answers.json"
    answers.write_text(json.dumps(HALF_INCH))
    status, out, _ = run(*RECORD, "--answers-from", str(answers), "--uuid", "7f1a0d0e-0000-4000-8000-000000000001")
    assert (status, "H2-0001: accepted" in out, "before it: make-up" in out) == (0, True, True)
    assert "due on" in out
    status, out, _ = run(*RECORD, "--answers-from", str(answers), "--uuid", "7f1a0d0e-0000-4000-8000-000000000001")
    assert "recorded before; nothing was added" in out
    status, out, _ = run("make-up", "show", "H2-0001")
    assert out.count("make-up ") == 2
    assert "judged at make-up" in out
    first = json.loads(run("make-up", "show", "H2-0001", "--json")[1])[0]["make_up_id"]
    corrected = json.loads(
        run(*RECORD, "--answer", *GOOD, "--corrects", str(first), "--reason", "serial misread", "--json")[1]
    )
    assert corrected["verdict"] == "accepted"
    assert "corrects make-up" in run("make-up", "show", "H2-0001")[1]


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ((*RECORD, "--answer", "torqued"), "STEP=ANSWER"),
        ((*RECORD, "--answer", "torqued=tight"), "is no number"),
        ((*RECORD, "--answers-from", "no-such.json"), "no-such.json"),
        (("make-up", "record", "NO-SUCH"), "no joint has the tag"),
        (("make-up", "record", "H2-0001"), "several procedures"),
        (("make-up", "procedures", "no-such"), "no procedure 'no-such'"),
        (("make-up", "publish", "no-such.toml", "--by", "E", "--note", "n"), "no-such.toml"),
    ],
)
def test_what_cannot_be_taken_is_said_in_a_line(run: Run, arguments: tuple[str, ...], said: str) -> None:
    status, _, err = run(*arguments)
    assert status == 1
    assert said in err
    assert "Traceback" not in err


def test_answers_of_another_shape_are_refused(run: Run, tmp_path: Path) -> None:
    for text in ("[1]", '{"torqued": [1]}', '{"torqued": null}', "{"):
        (tmp_path / "answers.json").write_text(text)
        assert run(*RECORD, "--answers-from", "answers.json")[0] == 1


def test_procedures_are_listed_and_shown_and_a_plant_publishes_its_own(run: Run, tmp_path: Path) -> None:
    status, out, _ = run("make-up", "procedures", "--family", "flanged", "--size", "100")
    assert (status, [line.split()[0] for line in out.splitlines()]) == (0, ["flanged-tension", "flanged-torque"])
    assert "ferrule-mp-half-inch-torque" in run("make-up", "procedures", "--tag", "H2-0001")[1]
    shown = run("make-up", "procedures", "union-turns")[1]
    assert "! Depressurise" in shown
    assert "Source:" in shown
    own = tmp_path / "own.toml"
    own.write_text(
        '[[procedure]]\ncode = "union-turns"\ntitle = "Union, ours"\nfamily = "union"\nmethod = "turns"\n'
        'size_from_mm = 0.0\nsize_to_mm = 200.0\nsteps = ["seat-clean", "turned-past-hand-tight"]\n'
        'turns = { expected = 0.5, tolerance = 0.1 }\nsource = "The plant\'s own procedure"\n'
    )
    publish = ("make-up", "publish", "own.toml", "--by", "E. Engineer", "--note", "ours")
    assert run(*publish)[1] == "union-turns: version 2 published\n"
    assert "nothing to publish" in run(*publish)[1]
    assert json.loads(run("make-up", "procedures", "union-turns", "--version", "1", "--json")[1])[0]["version"] == 1


def test_registers_are_loaded_and_what_runs_out_is_listed(run: Run, tmp_path: Path) -> None:
    for kind, text in (("people", PEOPLE), ("tools", TOOLS), ("calibrations", CALIBRATIONS)):
        (tmp_path / f"{kind}.csv").write_text(text)
        status, out, _ = run("load", kind, f"{kind}.csv")
        assert (status, "0 added" in out) == (0, True)
    status, out, _ = run("make-up", "tools")
    assert "TW-016  torque wrench: never calibrated" in out
    assert "found in tolerance, until 2027-03-01" in out
    assert "TW-015: calibration (torque wrench) ran out on 2026-03-01" in run("make-up", "expiring")[1]
    assert json.loads(run("make-up", "expiring", "--days", "0", "--json")[1])
