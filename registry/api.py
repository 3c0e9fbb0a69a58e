"""The routers of every capability, for the composition root to mount."""

from fastapi import APIRouter

ROUTERS: tuple[APIRouter, ...] = ()
