"""The routers of every capability, for the composition root to mount."""

from fastapi import APIRouter

from registry.joints import api as joints
from registry.plant import api as plant
from registry.routes import api as routes

ROUTERS: tuple[APIRouter, ...] = (joints.router, plant.router, routes.router)
