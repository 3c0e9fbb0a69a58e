"""The routers of every capability, for the composition root to mount."""

from fastapi import APIRouter

from registry.joints import api as joints

ROUTERS: tuple[APIRouter, ...] = (joints.router,)
