"""What people hand over instead of a joint list: one clear sentence, exit status 1, no traceback, nothing loaded."""

import json
import zipfile
from pathlib import Path
from uuid import uuid4

import pytest

from registry.cli import main
from registry.db import Database
from tests.conftest import new_site
from tests.database.small_site import number

FIXTURES = Path(__file__).parents[1] / "fixtures"
HEAD = "tag,family,service,east_m,north_m,pressure_barg"
GOOD = "A,flanged,hydrogen,1,2,3"


@pytest.fixture
def site(database: Database, monkeypatch: pytest.MonkeyPatch) -> int:
    """A site in a database of the test's own, which the command line finds by the environment."""
    code = f"site-{uuid4().hex[:8]}"
    monkeypatch.setenv("JOINTWRIGHT_DATABASE_URL", database.url)
    monkeypatch.setenv("JOINTWRIGHT_SITE", code)
    return new_site(database, code)


def joints(database: Database, site: int) -> int:
    with database.transaction(site) as connection:
        return number(connection, "SELECT count(*) FROM joint")


def a_zip() -> bytes:
    path = Path(f"{uuid4().hex}.zip")
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("holiday.txt", "not a workbook")
    data = path.read_bytes()
    path.unlink()
    return data


BAD = {
    "empty": (b"", "is empty"),
    "headings only": (f"{HEAD}\n".encode(), "has no rows"),
    "missing column": (b"tag,family,service,east_m,north_m\nA,union,steam,1,2\n", "no column for pressure_barg"),
    "line of 50 MB": (f"{HEAD}\n{GOOD}".encode() + b"x" * 50_000_000 + b"\n", "a line of 50,000,025 bytes"),
    "cell of 50 MB": (
        f'{HEAD},notes\n{GOOD},"'.encode() + b"x\n" * 25_000_000 + b'"\n',
        "a cell of 49,999,999 characters",
    ),
    "heading of 50 MB": (b"x" * 50_000_000, "a line of 50,000,000 bytes"),
    "binary": (bytes(range(256)) * 40, "neither a text table nor a workbook"),
    "NaN": (f"{HEAD}\nA,flanged,hydrogen,NaN,2,3\n".encode(), "is not a finite number"),
    "infinity": (f"{HEAD}\nA,flanged,hydrogen,1,-inf,3\n".encode(), "is not a finite number"),
    "twice the same heading": (f"{HEAD},tag\n{GOOD},B\n".encode(), "more than once"),
    "open quotation mark": (f'{HEAD}\n"{GOOD}\n{GOOD}\n'.encode(), "not closed"),
}


@pytest.mark.parametrize("name", BAD)
def test_a_bad_file_is_refused_in_one_sentence(
    name: str, database: Database, site: int, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    data, says = BAD[name]
    path = tmp_path / "list.csv"
    path.write_bytes(data)
    assert main(["load", "joints", str(path)]) == 1
    told = capsys.readouterr()
    assert says in told.err
    assert told.out == ""
    assert "Traceback" not in told.err
    assert len(told.err.strip().splitlines()) <= 2  # the sentence, and where a row is at fault, the row
    assert joints(database, site) == 0


def test_a_zip_that_is_no_workbook_and_a_missing_sheet_are_refused(
    site: int, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    path, mapping = tmp_path / "list.xlsx", tmp_path / "mapping.toml"
    path.write_bytes(a_zip())
    assert main(["load", "joints", str(path)]) == 1
    assert "no workbook that can be read" in capsys.readouterr().err
    mapping.write_text('sheet = "Valves"\n')
    assert main(["load", "joints", str(FIXTURES / "joint_schedule.xlsx"), "--mapping", str(mapping)]) == 1
    assert "no sheet 'Valves': its sheets are 'Read me', 'Joints'" in capsys.readouterr().err
    assert main(["load", "joints", str(tmp_path / "nowhere.csv")]) == 1
    assert "there is no file" in capsys.readouterr().err


def test_the_sample_from_the_command_line_all_or_none_then_the_good_rows(
    database: Database, site: int, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    command = [
        "load",
        "joints",
        str(FIXTURES / "joint_schedule.xlsx"),
        "--mapping",
        str(FIXTURES / "joint_schedule.toml"),
    ]
    assert main(command) == 1
    told = capsys.readouterr().err
    assert "72 of 2,880 rows of joint_schedule.xlsx have a fault; nothing was loaded" in told
    assert "row 93, column 'Joint No.'" in told
    assert joints(database, site) == 0

    assert main([*command, "--json"]) == 1
    report = json.loads(capsys.readouterr().out)
    assert (report["loaded"], report["refused"], len(report["issues"])) == (False, 72, 72)
    assert set(report["issues"][0]) == {"row", "column", "value", "reason"}

    assert main([*command, "--preview", "--keep-valid"]) == 0
    assert "2,808 would be added" in capsys.readouterr().out
    assert joints(database, site) == 0

    assert main([*command, "--keep-valid"]) == 0
    assert "72 refused rows are in joint_schedule-refused.xlsx" in capsys.readouterr().out
    assert joints(database, site) == 2808
    assert (tmp_path / "joint_schedule-refused.xlsx").exists()

    assert main([*command, "--keep-valid", "--refused-to", "bad.csv"]) == 0
    assert "0 added, 0 changed, 2,808 unchanged, 72 refused" in capsys.readouterr().out
    assert (tmp_path / "bad.csv").read_bytes().startswith(b"\xef\xbb\xbf")


def test_refused_rows_that_cannot_be_written_leave_nothing_loaded(
    database: Database, site: int, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "list.csv"
    path.write_text(f"{HEAD}\n{GOOD}\nB,flanged,hydrogen,x,2,3\n")
    nowhere = str(tmp_path / "no such folder" / "bad.csv")
    assert main(["load", "joints", str(path), "--keep-valid", "--refused-to", nowhere]) == 1
    assert "cannot be written" in capsys.readouterr().err
    assert joints(database, site) == 0


def test_a_draft_mapping_comes_without_any_site(
    database: Database, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("JOINTWRIGHT_DATABASE_URL", database.url)
    monkeypatch.delenv("JOINTWRIGHT_SITE", raising=False)
    assert main(["load", "joints", str(FIXTURES / "joint_schedule.xlsx"), "--suggest"]) == 0
    assert 'vibration_in_s_pk = "Vib (in/s pk)"' in capsys.readouterr().out


def test_a_new_site_is_made_with_its_first_list(
    database: Database, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("JOINTWRIGHT_DATABASE_URL", database.url)
    monkeypatch.delenv("JOINTWRIGHT_SITE", raising=False)
    path = tmp_path / "list.csv"
    path.write_text(f"{HEAD}\n{GOOD}\n")
    assert main(["load", "joints", str(path)]) == 1
    assert "--new-site" in capsys.readouterr().err
    assert main(["load", "joints", str(path), "--new-site", "marsh-end", "--site-name", "Marsh End"]) == 0
    assert "1 added" in capsys.readouterr().out
    assert main(["load", "joints", str(path)]) == 0
    assert "1 unchanged" in capsys.readouterr().out
