"""The pages of make-ups, recalls and work packs, over the whole application."""

import io
import re
from collections.abc import Iterator, Mapping
from html import unescape

import pypdf
import pytest
from fastapi.testclient import TestClient

from dashboards.app import create_app
from dashboards.pages.make_up_sheet import (
    answers_before,
    load_words,
    order_words,
    pass_rows,
    steps_known_before,
    torque_words,
)
from registry.db import Database
from registry.makeup.instructions import instructions
from registry.makeup.reading_procedures import shipped_procedures
from tests.database.made_up import make_up
from tests.web.make_up_site import ANSWERS, EXPIRED_WRENCH, GOOD_WRENCH, TAG, add_make_up_site, today

ROOT = "/sites/marsh"
JOINT = f"{ROOT}/joints/{TAG}"


class Pages:
    """A reader without scripts: fetches pages, fills forms in."""

    def __init__(self, client: TestClient, database: Database, site_id: int) -> None:
        self.client, self.database, self.site_id = client, database, site_id

    def text(self, address: str, status: int = 200) -> str:
        answer = self.client.get(address, headers={"Accept": "text/html"})
        assert answer.status_code == status, answer.text
        return unescape(answer.text)

    def send(self, action: str, form: Mapping[str, str | list[str]], status: int = 200) -> str:
        answer = self.client.post(action, data=form, headers={"Accept": "text/html"})
        assert answer.status_code == status, answer.text
        return unescape(answer.text)

    def hidden(self, text: str) -> dict[str, str | list[str]]:
        found = re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)">', text)
        numbers = [value for name, value in found if name == "number"]
        return {**dict(found), **({"number": numbers} if numbers else {})}

    def make_up(self, *, wrench: str = GOOD_WRENCH, **changed: str) -> str:
        form = self.hidden(self.text(f"{JOINT}/make-up?procedure=ferrule-mp-half-inch-torque"))
        answers = {**ANSWERS, "torque-wrench": wrench}
        form |= {f"step.{key}": value for key, value in answers.items()}
        return self.send(f"{JOINT}/make-up", {**form, "fitter": "Ada Marsh", "witness": "Wim Reed", **changed})


@pytest.fixture
def pages(database: Database) -> Iterator[Pages]:
    site_id = add_make_up_site(database, "marsh")
    with TestClient(create_app(database), base_url="http://localhost") as client:
        yield Pages(client, database, site_id)


def test_an_adaptor_s_setting_is_worked_out_before_the_first_turn(pages: Pages) -> None:
    known = "step.wrench-length=600&step.adaptor-length=60&step.adaptor-angle=0"
    text = pages.text(f"{JOINT}/make-up?procedure=ferrule-mp-half-inch-torque&kind=first&{known}")
    assert "150 N·m (142.5 to 157.5); set 136.4 N·m on the wrench" in text
    assert text.count('value="600"') == 2, "and stands in the form to be recorded"
    without = pages.text(f"{JOINT}/make-up?procedure=ferrule-mp-half-inch-torque&kind=first&step.wrench-length=long")
    assert "150 N·m (142.5 to 157.5)<" in without


def test_a_flange_s_torque_passes_and_order_are_worked_out_before_the_first_turn() -> None:
    procedure = next(each for each in shipped_procedures() if each.code == "flanged-torque")
    steps = steps_known_before(procedure, "first")
    known = answers_before(steps, {"step.bolt-size": "20", "step.bolt-count": "8"})
    sheet = instructions(procedure, "first", known)
    torque = sheet.passes[-1].torque_n_m
    assert torque is not None
    assert [row.part for row in pass_rows(sheet)] == ["30 %", "70 %", "100 %"]
    assert (torque_words(sheet) or "").startswith(pass_rows(sheet)[-1].torque or "?")
    assert torque == pytest.approx(0.2 * 0.020 * 345e6 * 225.19e-6, rel=5e-4)  # K·D·stress·root area of M20 (DIN 13)
    assert order_words(sheet) == "1-5-3-7, then 2-6-4-8"
    assert (load_words(sheet) or "").startswith("77.7 kN a bolt; by scatter 54.4 to 101")


def test_the_form_asks_only_what_applies(pages: Pages) -> None:
    by_torque = pages.text(f"{JOINT}/make-up?procedure=ferrule-mp-half-inch-torque&kind=first")
    assert 'name="step.torqued"' in by_torque
    assert 'inputmode="decimal"' in by_torque
    assert 'name="step.turned"' not in by_torque
    assert "150 N·m (142.5 to 157.5)" in by_torque
    by_turns = pages.text(f"{JOINT}/make-up?procedure=ferrule-mp-turns&kind=first")
    assert 'name="step.turned"' in by_turns
    assert 'name="step.torqued"' not in by_turns
    assert 'name="step.to-mark"' not in by_turns
    again = pages.text(f"{JOINT}/make-up?procedure=ferrule-mp-turns&kind=re-make")
    assert 'name="step.to-mark"' in again
    for text in (by_torque, by_turns):
        assert "Never tighten, loosen or bleed by a nut under pressure." in text
        assert "a qualified person" in text
        assert f'<option value="{GOOD_WRENCH}">' in by_torque
    assert 'name="step.bolt-count"' not in by_torque


def test_a_make_up_is_refused_for_its_wrench_and_then_accepted(pages: Pages) -> None:
    refused = pages.make_up(wrench=EXPIRED_WRENCH)
    assert "Not accepted" in refused
    assert EXPIRED_WRENCH in refused
    assert "Refused:" in refused
    again = re.search(r'href="([^"]+)">Make it up again', refused)
    assert again is not None
    form = pages.text(again[1])
    assert 'value="Ada Marsh"' in form
    assert 'value="F-77"' in form
    assert "checked" not in form.split("<form method")[1]
    accepted = pages.make_up()
    assert "Accepted" in accepted
    assert "Refused:" not in accepted
    joint = pages.text(JOINT)
    assert joint.index(">accepted<") < joint.index(">not accepted<")
    assert EXPIRED_WRENCH in joint


def test_turns_that_disagree_with_the_torque_are_questioned(pages: Pages) -> None:
    text = pages.make_up(**{"step.turned-by-torque": "0,4"})
    assert "Not accepted" in text
    assert "Questioned:" in text
    assert "turned 0.4" in text


def test_the_same_form_sent_twice_is_one_make_up(pages: Pages) -> None:
    form = pages.hidden(pages.text(f"{JOINT}/make-up?procedure=ferrule-mp-half-inch-torque"))
    form |= {f"step.{key}": value for key, value in {**ANSWERS, "torque-wrench": GOOD_WRENCH}.items()}
    form |= {"fitter": "Ada Marsh", "witness": "Wim Reed"}
    for _ in range(2):
        assert "Accepted" in pages.send(f"{JOINT}/make-up", form)
    assert pages.text(JOINT).count(f"{ROOT}/make-ups/") == 1


def test_a_day_that_is_none_is_refused_with_its_field(pages: Pages) -> None:
    form = pages.hidden(pages.text(f"{JOINT}/make-up?procedure=ferrule-mp-half-inch-torque"))
    assert "made_up_on" in pages.send(f"{JOINT}/make-up", {**form, "made_up_on": "31 March"}, status=422)


def test_the_tag_leads_a_phone_to_the_joint(pages: Pages) -> None:
    text = pages.text(f"{JOINT}/tag")
    assert f"http://localhost{JOINT}" in text
    assert '<svg viewBox="0 0' in text
    assert f"{JOINT}/make-up" in pages.text(JOINT)


def test_a_recall_is_looked_at_raised_and_followed(pages: Pages) -> None:
    pages.make_up()
    assert "No recall was raised yet" in pages.text(f"{ROOT}/make-up")
    looked = pages.text(f"{ROOT}/recalls/new?kind=tool&subject={GOOD_WRENCH}&from_on=&until_on=")
    assert "1 joints stand" in looked.replace("<strong>", "").replace("</strong>", "")
    assert TAG in looked
    raised = pages.send(
        f"{ROOT}/recalls",
        {"kind": "tool", "subject": GOOD_WRENCH, "reason": "dropped", "raised_by": "E. Engineer", "days": "1"}
        | {"from_on": "", "until_on": ""},
        status=422,
    )
    assert "give 5 numbers" in raised
    raised = pages.send(
        f"{ROOT}/recalls",
        {"kind": "tool", "subject": GOOD_WRENCH, "reason": "dropped", "raised_by": "E. Engineer"},
    )
    assert "0 of 1" in raised
    assert TAG in raised
    assert "Never tighten" in raised
    assert "a recall of how it was made up" in pages.text(JOINT)
    assert "dropped" in pages.text(f"{ROOT}/make-up")
    pages.text(f"{ROOT}/recalls/99", status=404)


def test_papers_that_run_out_are_listed(pages: Pages) -> None:
    text = pages.text(f"{ROOT}/make-up")
    assert "Ada Marsh" in text
    assert EXPIRED_WRENCH in text
    assert "ended" in text


def test_a_work_pack_shows_what_stands_open_and_gives_its_certificate_last(pages: Pages) -> None:
    form = {"code": "WP-1", "title": "Second stage", "opened_by": "O. Opener", "tags": f"{TAG}\r\n"}
    text = pages.send(f"{ROOT}/work-packs", form)
    pack = f"{ROOT}/work-packs/WP-1"
    assert "1 of 1 joints stand open" in text
    assert "to be broken" in text
    assert "certificate.pdf" not in text
    assert "was never broken" in pages.text(f"{pack}/certificate.pdf", status=422)
    text = pages.send(f"{pack}/steps", {**pages.hidden(text), "done_by": "B. Breaker", "passed": "yes"})
    assert "to be made again" in text
    assert "is broken and not made up again" in pages.send(f"{pack}/hand-back", {"by": "H. Handback"}, status=422)
    with pages.database.transaction(pages.site_id) as connection:
        make_up(connection, TAG, today())
    text = pages.send(f"{pack}/steps", {**pages.hidden(pages.text(pack)), "done_by": "T. Tester", "passed": "yes"})
    assert "Nothing stands open" in text
    text = pages.send(f"{pack}/hand-back", {"by": "H. Handback"})
    assert f"{pack}/certificate.pdf" in text
    answer = pages.client.get(f"{pack}/certificate.pdf")
    assert answer.headers["content-type"] == "application/pdf"
    assert TAG in pypdf.PdfReader(io.BytesIO(answer.content)).pages[0].extract_text()
