"""One module a sheet: read the request, ask the registry, fill a context."""

from fastapi import APIRouter

from dashboards.pages import plan

PAGES: tuple[APIRouter, ...] = (plan.ROUTER,)
