#!/bin/sh
# Everything a change must pass: lint, types, import rules and tests, on the embedded PostgreSQL and on the system's.
#   sh deploy/test.sh                 all of it
#   sh deploy/test.sh tests/unit -x   a part; whatever follows goes to pytest
set -eu
CDPATH='' cd -- "$(dirname -- "$0")/.."
. deploy/python.sh
"$PYTHON" deploy/environment.py test
. deploy/chromium.sh
PATH=$PWD/.venv/bin:$PATH
export PATH

if [ $# -gt 0 ]; then
    exec .venv/bin/python -m pytest "$@"
fi

on_system=0
.venv/bin/python deploy/on_system_postgres.py -q -n 2 --dist loadfile -m each_server tests/database tests/rules/test_sql.py || on_system=$?
on_embedded=0
.venv/bin/python -m pytest -n 2 --dist loadfile || on_embedded=$?
if [ "$on_system" -ne 0 ]; then
    echo "The database tests failed on the system's PostgreSQL: see above." >&2
fi
[ "$on_system" -eq 0 ] && [ "$on_embedded" -eq 0 ]
