#!/bin/sh
# The demo plant in a browser: environment, database, the invented plant Saltmarsh Point, and the dashboard on 127.0.0.1.
# Safe to run again: what is there is used. Options go to `jointwright serve`, for one --port 8080.
set -eu
CDPATH='' cd -- "$(dirname -- "$0")/.."
. deploy/python.sh
"$PYTHON" deploy/environment.py
.venv/bin/jointwright demo
exec .venv/bin/jointwright serve "$@"
