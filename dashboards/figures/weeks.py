"""The whole plan: hours of every week against the crews' hours."""

from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from typing import Any

from dashboards.figures.ruling import INK, INK_2, ruled_axis, ruled_layout
from registry.planning.model import Plan, PlanWeek


def weeks_figure(plan: Plan, weeks: Sequence[PlanWeek], late_hours: Mapping[date, float]) -> dict[str, Any]:
    """Bars of hours, the late part solid and at the foot, the rest light; a stepped line at the crews' hours.

    Upright lines stand where the frozen and the planned weeks end.
    """
    days = [week.week_starting_on.isoformat() for week in weeks]
    hours = [week.minutes / 60.0 for week in weeks]
    late = [min(late_hours.get(week.week_starting_on, 0.0), all_of) for week, all_of in zip(weeks, hours, strict=True)]
    in_time = [all_of - part for all_of, part in zip(hours, late, strict=True)]
    line = {"color": INK, "width": 1}
    width = 5.6 * 24 * 3600 * 1000  # milliseconds: a week less a gap
    end = (plan.starts_on + timedelta(weeks=plan.weeks)).isoformat()
    data = [
        {
            "type": "bar",
            "name": "late",
            "x": days,
            "y": [round(each, 2) for each in late],
            "width": width,
            "offset": 0,
            "marker": {"color": INK, "line": line},
            "hovertemplate": "week of %{x|%Y-%m-%d}: %{y:.1f} h late<extra></extra>",
        },
        {
            "type": "bar",
            "name": "in time",
            "x": days,
            "y": [round(each, 2) for each in in_time],
            "width": width,
            "offset": 0,
            "marker": {"color": "var(--paper-2)", "line": {"color": INK_2, "width": 1}},
            "hovertemplate": "week of %{x|%Y-%m-%d}: %{y:.1f} h in time<extra></extra>",
        },
        {
            "type": "scatter",
            "mode": "lines",
            "name": "crews",
            "x": [*days, end],
            "y": [round(week.capacity_minutes / 60.0, 2) for week in [*weeks, *weeks[-1:]]],
            "line": {"color": INK, "width": 1.6, "shape": "hv", "dash": "10px,3px,2px,3px"},
            "hovertemplate": "week of %{x|%Y-%m-%d}: the crews have %{y:.1f} h<extra></extra>",
        },
    ]
    ends = [(weeks_in, words) for weeks_in, words in ((plan.frozen_weeks, "frozen"), (plan.planned_weeks, "planned"))]
    lines = [
        _upright(plan.starts_on + timedelta(weeks=after), words) for after, words in ends if 0 < after < plan.weeks
    ]
    layout = ruled_layout(
        barmode="stack",
        margin={"l": 52, "r": 14, "t": 24, "b": 34},
        xaxis=ruled_axis(type="date", range=[plan.starts_on.isoformat(), end], showgrid=False),
        yaxis=ruled_axis(title={"text": "hours", "standoff": 6, "font": {"size": 13}}, rangemode="tozero"),
        shapes=[shape for shape, _ in lines],
        annotations=[note for _, note in lines],
    )
    # On a phone the two notes would meet.
    return {"data": data, "layout": layout, "narrow": {"annotations": []}}


def _upright(on: date, words: str) -> tuple[dict[str, Any], dict[str, Any]]:
    day = on.isoformat()
    shape = {
        "type": "line",
        "x0": day,
        "x1": day,
        "y0": 0,
        "y1": 1,
        "yref": "paper",
        "line": {"color": INK_2, "width": 1, "dash": "14px,3px,2px,3px,2px,3px"},
    }
    note = {
        "x": day,
        "xanchor": "right",
        "y": 1,
        "yref": "paper",
        "yanchor": "bottom",
        "text": f"{words} to here",
        "showarrow": False,
        "font": {"size": 11, "color": INK_2, "family": "var(--lettering)"},
    }
    return shape, note
