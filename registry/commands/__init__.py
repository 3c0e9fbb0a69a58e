"""One module a command: `register` adds its arguments, `run` calls one capability and prints."""

from argparse import ArgumentParser
from collections.abc import Callable
from typing import Any

from registry.commands import check_setup, demo, load, route, serve

# In the order in which `jointwright --help` lists them.
COMMANDS: tuple[Callable[[Any], ArgumentParser | None], ...] = (
    serve.register,
    demo.register,
    load.register,
    route.register,
    check_setup.register,
)
