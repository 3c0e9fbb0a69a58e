"""Planned hours against the crew's hours, week by week."""

from collections.abc import Sequence
from datetime import timedelta
from typing import Any

from dashboards.figures.ruling import INK, INK_2, PAPER, ruled_axis, ruled_layout
from registry.overview.model import PlannedWeek
from registry.planning.model import Plan


def weeks_figure(plan: Plan, weeks: Sequence[PlannedWeek]) -> dict[str, Any]:
    """Bars of hours, the late part solid and at the foot, the rest hatched; a line at the crew's hours."""
    by_week = {week.starts_on: week for week in weeks}
    starts = [plan.starts_on + timedelta(weeks=number) for number in range(plan.weeks)]
    late = [by_week[start].late_hours if start in by_week else 0.0 for start in starts]
    in_time = [by_week[start].hours - by_week[start].late_hours if start in by_week else 0.0 for start in starts]
    days = [start.isoformat() for start in starts]
    line = {"color": INK, "width": 1}
    width = 5.6 * 24 * 3600 * 1000  # milliseconds: a week less a gap
    data = [
        {
            "type": "bar",
            "name": "late",
            "x": days,
            "y": [round(hours, 2) for hours in late],
            "width": width,
            "offset": 0,
            "marker": {"color": INK, "line": line},
            "hovertemplate": "week of %{x|%Y-%m-%d}: %{y:.1f} h late<extra></extra>",
        },
        {
            "type": "bar",
            "name": "in time",
            "x": days,
            "y": [round(hours, 2) for hours in in_time],
            "width": width,
            "offset": 0,
            "marker": {
                "color": PAPER,
                "line": line,
                "pattern": {"shape": "/", "size": 6, "solidity": 0.15, "fgcolor": INK_2, "bgcolor": PAPER},
            },
            "hovertemplate": "week of %{x|%Y-%m-%d}: %{y:.1f} h in time<extra></extra>",
        },
    ]
    end = (plan.starts_on + timedelta(weeks=plan.weeks)).isoformat()
    capacity = plan.crew_hours_per_week
    layout = ruled_layout(
        barmode="stack",
        margin={"l": 52, "r": 14, "t": 24, "b": 34},
        xaxis=ruled_axis(type="date", range=[plan.starts_on.isoformat(), end], showgrid=False),
        yaxis=ruled_axis(title={"text": "hours", "standoff": 6, "font": {"size": 13}}, rangemode="tozero"),
        shapes=[
            {
                "type": "line",
                "x0": 0,
                "x1": 1,
                "xref": "paper",
                "y0": capacity,
                "y1": capacity,
                "line": {"color": INK, "width": 1.6, "dash": "10px,3px,2px,3px"},
            }
        ],
        annotations=[
            {
                "x": 1,
                "xref": "paper",
                "xanchor": "right",
                "y": capacity,
                "yanchor": "bottom",
                "text": f"crew {capacity:g} h",
                "showarrow": False,
                "font": {"size": 11, "color": INK_2, "family": "var(--lettering)"},
            }
        ],
    )
    return {"data": data, "layout": layout}
