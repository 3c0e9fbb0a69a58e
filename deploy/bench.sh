#!/bin/sh
# Time, peak memory, and the ratio to a floor measured in the same run: sh deploy/bench.sh [--joints N]
set -eu
CDPATH='' cd -- "$(dirname -- "$0")/.."
. deploy/python.sh
"$PYTHON" deploy/environment.py test
exec .venv/bin/python -m tests.benchmark "$@"
