"""One module a sheet: read the request, ask the registry, fill a context."""

from fastapi import APIRouter

from dashboards.pages import due, intervals, joint, leaks, plan, routes, sites, weeks

PAGES: tuple[APIRouter, ...] = (
    sites.ROUTER,
    plan.ROUTER,
    due.ROUTER,
    weeks.ROUTER,
    routes.ROUTER,
    leaks.ROUTER,
    intervals.ROUTER,
    joint.ROUTER,
)
"""In this order: a tag may hold a slash, so the joints' routes stand last."""
