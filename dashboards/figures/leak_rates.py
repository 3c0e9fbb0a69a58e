"""Leak rates of areas with their exact limits, as dots and whiskers."""

from collections.abc import Sequence
from typing import Any

from dashboards.figures.ruling import INK, INK_2, PAPER, ruled_axis, ruled_layout
from registry.leaks.model import AreaRate


def leak_rates_figure(rates: Sequence[AreaRate], plant: AreaRate | None) -> dict[str, Any] | None:
    """One row an area, the highest rate on top, the whole plant as a line; None where no area has exposure."""
    shown = sorted(
        (rate for rate in rates if rate.leaks_per_1000_joint_years is not None),
        key=lambda rate: rate.leaks_per_1000_joint_years or 0.0,
    )
    if not shown:
        return None
    middle = [rate.leaks_per_1000_joint_years or 0.0 for rate in shown]
    names = [rate.count.area or "in no area" for rate in shown]
    trace = {
        "type": "scatter",
        "mode": "markers",
        "x": middle,
        "y": names,
        "error_x": {
            "type": "data",
            "symmetric": False,
            "array": [(rate.upper_limit or 0.0) - value for rate, value in zip(shown, middle, strict=True)],
            "arrayminus": [value - (rate.lower_limit or 0.0) for rate, value in zip(shown, middle, strict=True)],
            "color": INK,
            "thickness": 1.4,
            "width": 5,
        },
        "marker": {
            "color": [PAPER if rate.count.leaks == 0 else INK for rate in shown],
            "size": 9,
            "line": {"color": INK, "width": 1.6},
        },
        "customdata": [
            [rate.count.leaks, rate.count.joint_years, rate.lower_limit, rate.upper_limit] for rate in shown
        ],
        "hovertemplate": "%{y}: %{x:.2f} (%{customdata[2]:.2f} to %{customdata[3]:.2f})"
        "<br>%{customdata[0]} leaks in %{customdata[1]:,.0f} joint-years<extra></extra>",
    }
    lines: list[dict[str, Any]] = []
    notes: list[dict[str, Any]] = []
    if plant is not None and plant.leaks_per_1000_joint_years is not None:
        at = plant.leaks_per_1000_joint_years
        lines.append(
            {
                "type": "line",
                "x0": at,
                "x1": at,
                "y0": 0,
                "y1": 1,
                "yref": "paper",
                "line": {"color": INK_2, "width": 1.4, "dash": "10px,3px,2px,3px"},
            }
        )
        notes.append(
            {
                "x": at,
                "y": 1,
                "yref": "paper",
                "yanchor": "bottom",
                "text": "whole plant",
                "showarrow": False,
                "font": {"size": 11, "color": INK_2, "family": "var(--lettering)"},
            }
        )
    layout = ruled_layout(
        margin={"l": 150, "r": 20, "t": 22, "b": 46},
        xaxis=ruled_axis(
            title={"text": "leaks per 1,000 joint-years", "standoff": 8, "font": {"size": 13}}, rangemode="tozero"
        ),
        yaxis=ruled_axis(ticks="", automargin=True, range=[-0.6, len(shown) - 0.4]),
        shapes=lines,
        annotations=notes,
    )
    return {"data": [trace], "layout": layout}
