"""The command `jointwright`: parse, call, and turn an error into one line and an exit status.

Exit status: 0 done, 1 the input was refused, 2 usage, 3 the database cannot be reached.
"""

import argparse
import os
import sys
from collections.abc import Iterable, Sequence
from importlib import import_module

from registry.commands import COMMANDS
from registry.errors import Invalid, RegistryError, Unavailable

MOST_ISSUES_SHOWN = 20


def parser(commands: Iterable[str] = COMMANDS) -> argparse.ArgumentParser:
    """The command line, with the arguments of the given commands (by default of all) and the names of the rest."""
    top = argparse.ArgumentParser(
        prog="jointwright",
        description="A plant-wide registry of mechanical joints with map-based inspection scheduling.",
    )
    top.add_argument("--site", help="code of the site (default: JOINTWRIGHT_SITE, or the only site there is)")
    subparsers = top.add_subparsers(dest="command", required=True, metavar="COMMAND")
    for name, what_it_does in COMMANDS.items():
        if name in commands:
            import_module(f"registry.commands.{name.replace('-', '_')}").register(subparsers)
        else:
            subparsers.add_parser(name, help=what_it_does, add_help=False)
    return top


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit status."""
    given = sys.argv[1:] if arguments is None else list(arguments)
    parsed = parser(_asked_for(given)).parse_args(given)
    try:
        status = parsed.run(parsed)
        sys.stdout.flush()
        return int(status or 0)
    except RegistryError as exc:
        print(f"jointwright: {exc}", file=sys.stderr)
        if isinstance(exc, Invalid):
            for issue in exc.issues[:MOST_ISSUES_SHOWN]:
                print(f"  {issue}", file=sys.stderr)
            if len(exc.issues) > MOST_ISSUES_SHOWN:
                print(f"  … and {len(exc.issues) - MOST_ISSUES_SHOWN} more", file=sys.stderr)
        return 3 if isinstance(exc, Unavailable) else 1
    except KeyboardInterrupt:
        print("jointwright: stopped; nothing was half-written", file=sys.stderr)
        return 1
    except BrokenPipeError:
        # Whoever read our output has enough; Python must not fail again when it flushes at exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0


def _asked_for(arguments: Sequence[str]) -> list[str]:
    top = argparse.ArgumentParser(add_help=False, exit_on_error=False)
    top.add_argument("--site")
    top.add_argument("command", nargs="?")
    try:
        known, _ = top.parse_known_args(arguments)
    except argparse.ArgumentError:
        return []
    return [known.command] if known.command else []


if __name__ == "__main__":
    sys.exit(main())
