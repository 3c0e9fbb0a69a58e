"""What a move, a deferral and a mended walk come to is said in words that leave nothing out."""

from datetime import date
from typing import Any

import pytest

from dashboards.plan_words import deferral_words, effect_words, gap_words, place_of_bundle
from registry.planning.changes import DeferralEffect, MoveEffect
from tests.unit.some_plans import a_plan


def an_effect(**changes: Any) -> MoveEffect:
    """A dozen checks moved by two weeks, all within hours."""
    given: dict[str, Any] = {
        "checks": 12,
        "minutes": 564.0,
        "from_week": date(2026, 3, 9),
        "from_crew": "Crew A",
        "to_week": date(2026, 3, 23),
        "to_crew": "Crew B",
        "cost_added_minutes": 34.2,
        "risk_added": 0.00213,
        "late_before": 0,
        "late_after": 4,
        "planned_minutes_after": 2250.0,
        "capacity_minutes": 2400.0,
        "not_kept": 0,
        "refused": (),
    }
    return MoveEffect(**(given | changes))


def test_a_move_says_what_goes_where_and_what_that_does() -> None:
    words = effect_words(an_effect())
    assert words.what == "12 checks, 9.4 h: from Crew A, week of 2026-03-09, to Crew B, week of 2026-03-23."
    assert words.effects == (
        "Risk: 0.0021 more expected leaks, weighted by class.",
        "Cost: 34 min of crew time more.",
        "Hours: Crew B then has 37.5 h of checks in 40.0 h.",
        "Late: 0 now, 4 then.",
    )
    assert words.refused == ()
    assert words.over is None


def test_what_a_move_takes_away_is_said_as_less() -> None:
    words = effect_words(an_effect(cost_added_minutes=-300.0, risk_added=-0.5))
    assert words.effects[:2] == (
        "Risk: 0.5 fewer expected leaks, weighted by class.",
        "Cost: 5 h of crew time less.",
    )
    nothing = effect_words(an_effect(cost_added_minutes=1e-9, risk_added=0.0))
    assert nothing.effects[:2] == ("Risk: unchanged.", "Cost: unchanged.")


def test_hours_over_later_rounds_and_refusals_are_said() -> None:
    words = effect_words(an_effect(planned_minutes_after=2520.0, not_kept=1, refused=("Crew B may not check union",)))
    assert words.over == "2 h more than it has"
    assert "Hours: Crew B then has 42.0 h of checks in 40.0 h, 2 h more than it has." in words.effects
    assert words.effects[-1] == "1 is a later round, which the next plan may move again."
    assert words.refused == ("Crew B may not check union",)


def test_checks_out_of_no_week_and_checks_that_stay_are_said_so() -> None:
    assert "from no week, to Crew B" in effect_words(an_effect(from_week=None, from_crew=None)).what
    stays = an_effect(checks=1, minutes=12.0, to_week=date(2026, 3, 9), to_crew="Crew A")
    assert effect_words(stays).what == "1 check, 12 min: kept with Crew A, week of 2026-03-09."


def test_a_deferral_says_its_risk_and_what_holds_until_now() -> None:
    effect = DeferralEffect(
        joint_id=1,
        tag="J-1",
        due_on=date(2026, 1, 9),
        until_on=date(2026, 9, 1),
        latest_on=date(2026, 4, 28),
        planned_week=None,
        consequence_class=5,
        risk_added=0.0871,
    )
    assert deferral_words(effect) == (
        "J-1 is due 2026-01-09, in consequence class 5.",
        "Until now its latest day in the plan is 2026-04-28.",
        "Risk: 0.087 more expected leaks, weighted by class, if it waits until 2026-09-01, 235 days after it was due.",
    )


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"bound_minutes": 299.0}, "0.33 %"),
        ({"bound_minutes": 300.0}, "0 %"),
        ({"bound_minutes": 0.0}, "no bound was found"),
    ],
)
def test_the_gap_is_told_in_percent_of_the_bound(changes: dict[str, float], words: str) -> None:
    assert gap_words(a_plan(**changes)) == words


def test_a_bundle_is_named_by_its_place() -> None:
    assert place_of_bundle("Jetty", 0) == "Jetty"
    assert place_of_bundle(None, 7) == "in no area, scaffold 7"
