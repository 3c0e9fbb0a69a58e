"""The command `jointwright`: parse, call, and turn an error into one line and an exit status.

Exit status: 0 done, 1 the input was refused, 2 usage, 3 the database cannot be reached.
"""

import argparse
import os
import sys
from collections.abc import Sequence

from registry.commands import COMMANDS
from registry.errors import Invalid, RegistryError, Unavailable

MOST_ISSUES_SHOWN = 20


def parser() -> argparse.ArgumentParser:
    """The whole command line."""
    top = argparse.ArgumentParser(
        prog="jointwright", description="A plant-wide registry of mechanical joints with map-based inspection scheduling."
    )
    top.add_argument("--site", help="code of the site (default: JOINTWRIGHT_SITE, or the only site there is)")
    commands = top.add_subparsers(dest="command", required=True, metavar="COMMAND")
    for register in COMMANDS:
        register(commands)
    return top


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit status."""
    parsed = parser().parse_args(arguments)
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


if __name__ == "__main__":
    sys.exit(main())
