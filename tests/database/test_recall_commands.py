"""The commands of recalls and work packs, run as a person would: what they print, and their exit status."""

import json
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pypdf
import pytest

from registry.cli import main
from registry.db import Database
from registry.intervals.service import score_plant
from tests.conftest import new_site
from tests.database.made_up import add_tool, make_up
from tests.database.small_site import fill_site

Run = Callable[..., tuple[int, str, str]]
GOOD, BAD = ("2025-03-01", "2026-02-28", "in tolerance"), ("2026-10-01", "2027-09-30", "out of tolerance")


class Site:
    """A scored site with a wrench that was found out, and the commands on it."""

    def __init__(self, database: Database, capsys: pytest.CaptureFixture[str]) -> None:
        self.database, self.site_id, self.capsys = database, new_site(database, "works"), capsys
        with database.transaction(self.site_id) as connection:
            self.tags = fill_site(connection, 6)
            make_up(connection, self.tags[0], "2026-05-04", tools=[add_tool(connection, "TW-014", GOOD, BAD)])
            score_plant(connection, datetime.now(UTC).date())

    def run(self, *arguments: str) -> tuple[int, str, str]:
        self.capsys.readouterr()
        status = main(arguments)
        said = self.capsys.readouterr()
        return status, said.out, said.err

    def told(self, *arguments: str) -> dict[str, object]:
        status, out, err = self.run(*arguments, "--json")
        assert status == 0, err
        return json.loads(out)


@pytest.fixture
def site(
    database: Database, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> Site:
    monkeypatch.setenv("JOINTWRIGHT_DATABASE_URL", database.url)
    monkeypatch.delenv("JOINTWRIGHT_SITE", raising=False)
    monkeypatch.chdir(tmp_path)
    return Site(database, capsys)


def test_a_recall_is_looked_at_raised_and_shown(site: Site) -> None:
    assert "no recall was raised yet" in site.run("recall")[1]
    status, out, _ = site.run("recall", "tool", "TW-014")
    assert status == 0
    assert "2025-03-01 to 2026-10-01" in out
    assert site.tags[0] in out
    assert "nothing was raised" in out
    assert "no recall was raised yet" in site.run("recall")[1]
    looked = site.told("recall", "tool", "TW-014", "--from", "2026-06-01", "--until", "2026-10-01")
    assert (looked["joints"], looked["listed"]) == (0, [])
    status, _, err = site.run("recall", "tool", "TW-014", "--raise")
    assert status == 1
    assert "say why" in err
    status, out, _ = site.run("recall", "tool", "TW-014", "--raise", "--by", "E. Engineer", "--why", "found out")
    assert status == 0
    assert "1 joints called in" in out
    shown = site.told("recall", "show", "1")
    assert (shown["joints"], shown["closed"], shown["open"]) == (1, 0, 1)
    assert shown["listed"][0]["tag"] == site.tags[0]
    assert f"{site.tags[0]}" in site.run("recall", "show", "1")[1]
    assert "0 of 1 closed" in site.run("recall")[1]
    assert site.run("recall", "show", "9")[0] == 1
    assert site.run("recall", "tool", "TW-099")[0] == 1


def test_days_by_class_are_five_whole_numbers(site: Site) -> None:
    with pytest.raises(SystemExit):
        site.run("recall", "lot", "G-1", "--days", "a,b")
    status, _, err = site.run("recall", "tool", "TW-014", "--raise", "--by", "E", "--why", "w", "--days", "1,2")
    assert status == 1
    assert "give 5 numbers" in err


def test_a_work_pack_from_opening_to_its_certificate(site: Site) -> None:
    assert "there is no work pack" in site.run("work-pack")[1]
    tag, more = site.tags[:2]
    status, out, _ = site.run("work-pack", "open", "WP-1", "Second stage", tag, "--by", "O. Opener")
    assert status == 0
    assert "1 of 1 joints stand open" in out
    assert "2 of 2 joints stand open" in site.run("work-pack", "add", "WP-1", more)[1]
    status, _, err = site.run("work-pack", "certificate", "WP-1", "paper.pdf")
    assert status == 1
    assert "was never broken" in err
    assert not Path("paper.pdf").exists()
    for each in (tag, more):
        assert "to be made again" in site.run("work-pack", "broken", "WP-1", each, "--by", "B. Breaker")[1]
        status, _, err = site.run("work-pack", "tested", "WP-1", each, "--by", "T. Tester")
        assert status == 1
        assert "comes after an accepted make-up" in err
        with site.database.transaction(site.site_id) as connection:
            make_up(connection, each, datetime.now(UTC).date())
        assert "leaked" in site.run("work-pack", "tested", "WP-1", each, "--by", "T. Tester", "--leaked")[1]
    assert site.run("work-pack", "hand-back", "WP-1", "--by", "H. Handback")[0] == 1
    for each in (tag, more):
        step = site.told("work-pack", "tested", "WP-1", each, "--by", "T. Tester")
        assert step["state"] == "complete"
    assert "nothing stands open" in site.run("work-pack", "show", "WP-1")[1]
    assert "handed back by H. Handback" in site.run("work-pack", "hand-back", "WP-1", "--by", "H. Handback")[1]
    assert site.run("work-pack", "certificate", "WP-1", "paper.pdf")[0] == 0
    assert tag in pypdf.PdfReader("paper.pdf").pages[0].extract_text()
    assert "WP-1  Second stage: 2 joints, handed back" in site.run("work-pack")[1]
