"""The routers of every capability, for the composition root to mount."""

from fastapi import APIRouter

from registry.assembly import api as assembly
from registry.checks import api as checks
from registry.completion import api as completion
from registry.crews import api as crews
from registry.feeds import api as feeds
from registry.intervals import api as intervals
from registry.joints import api as joints
from registry.leaks import api as leaks
from registry.makeup import api as makeup
from registry.overview import api as overview
from registry.papers import api as papers
from registry.planning import api as planning
from registry.plant import api as plant
from registry.policy import api as policy
from registry.recalls import api as recalls
from registry.routes import api as routes

# Joints after what stands below a joint: a tag may hold slashes, so `/joints/{tag}/why` goes before `/joints/{tag}`.
ROUTERS: tuple[APIRouter, ...] = (
    intervals.router,
    assembly.router,
    makeup.router,
    papers.router,
    joints.router,
    plant.router,
    policy.router,
    leaks.router,
    crews.router,
    planning.router,
    checks.router,
    routes.router,
    recalls.router,
    completion.router,
    feeds.router,
    overview.router,
)
