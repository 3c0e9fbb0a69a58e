# Sourced by the scripts beside it: finds a Python that will do, or says plainly what is missing. Sets $PYTHON.

python_will_do() {
    "$1" -c 'import sys; sys.exit(not (sys.version_info >= (3, 11)))' 2>/dev/null
}

if [ -n "${PYTHON:-}" ]; then
    python_will_do "$PYTHON" || { echo "PYTHON=$PYTHON is not a Python 3.11 or newer." >&2; exit 1; }
else
    for candidate in python3 python3.13 python3.12 python3.11 python3.14 python; do
        if python_will_do "$candidate"; then
            PYTHON=$candidate
            break
        fi
    done
    if [ -z "${PYTHON:-}" ]; then
        echo "Jointwright needs Python 3.11 or newer, and found none (looked for python3, python3.11 to python3.14)." >&2
        echo "On Debian or Ubuntu: apt-get install python3 python3-venv. Or name one: PYTHON=/path/to/python sh $0" >&2
        exit 1
    fi
fi
