"""One module a sheet: read the request, ask the registry, fill a context."""

from fastapi import APIRouter

from dashboards.pages import (
    crews,
    deferrals,
    due,
    intervals,
    joint,
    leaks,
    make_up,
    outages,
    plan,
    plan_jobs,
    plan_moves,
    recalls,
    route_mending,
    routes,
    sites,
    weeks,
    work_packs,
)

PAGES: tuple[APIRouter, ...] = (
    sites.ROUTER,
    plan.ROUTER,
    due.ROUTER,
    weeks.ROUTER,
    plan_moves.ROUTER,
    deferrals.ROUTER,
    plan_jobs.ROUTER,
    crews.ROUTER,
    outages.ROUTER,
    routes.ROUTER,
    route_mending.ROUTER,
    leaks.ROUTER,
    intervals.ROUTER,
    recalls.ROUTER,
    work_packs.ROUTER,
    make_up.ROUTER,
    joint.ROUTER,
)
"""In this order: a tag may hold a slash, so the joints' routes stand last."""
