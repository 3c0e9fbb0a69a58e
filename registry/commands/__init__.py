"""One module a command: `register` adds its arguments, `run` calls one capability and prints."""

from argparse import ArgumentParser
from collections.abc import Callable
from typing import Any

from registry.commands import check_setup, demo, due, leaks, load, plan, policy, route, score, serve, why

# In the order in which `jointwright --help` lists them.
COMMANDS: tuple[Callable[[Any], ArgumentParser | None], ...] = (
    serve.register,
    demo.register,
    load.register,
    score.register,
    why.register,
    due.register,
    plan.register,
    route.register,
    leaks.register,
    policy.register,
    check_setup.register,
)
