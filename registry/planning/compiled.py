"""Loops over single checks, compiled to machine code when they are first used."""

from collections.abc import Callable
from typing import Any, TypeVar, cast

import numba

Number = Any
"""One element of a column: the types of arrays do not tell it from a column."""

Function = TypeVar("Function", bound=Callable[..., Any])


def compiled(function: Function) -> Function:
    """The same function in machine code, kept on disk for the next process; it lets other threads run meanwhile."""
    try:
        return cast(Function, numba.njit(cache=True, nogil=True)(function))
    except RuntimeError:  # neither the package's folder nor the user's own can be written
        return cast(Function, numba.njit(nogil=True)(function))
