# Sourced by test.sh: finds a Chromium for the browser tests, installs Debian's where it may, or says how to get one.
# Sets and exports $CHROMIUM; empty where there is none, and the browser tests then say 'skipped'.

chromium_found() {
    for candidate in "${CHROMIUM:-}" chromium chromium-browser google-chrome google-chrome-stable \
        "/Applications/Chromium.app/Contents/MacOS/Chromium" \
        "/Applications/Google Chrome.app/Contents/MacOS/Google Chrome"; do
        if [ -n "$candidate" ] && "$candidate" --version >/dev/null 2>&1; then
            CHROMIUM=$(command -v "$candidate")
            return 0
        fi
    done
    CHROMIUM=
    return 1
}

if ! chromium_found && [ "$(id -u)" -eq 0 ] && command -v apt-get >/dev/null 2>&1; then
    echo "No Chromium for the browser tests: installing Debian's"
    # The list of packages may be old or empty; the installation itself says what is wrong.
    apt-get update -q >/dev/null 2>&1 || true
    DEBIAN_FRONTEND=noninteractive apt-get install -y -q chromium >/dev/null || true
    chromium_found || true
fi
if [ -z "$CHROMIUM" ]; then
    echo "No Chromium was found, so the browser tests are skipped. To have them: apt-get install chromium (Debian)," >&2
    echo "or any Chromium or Chrome, named by CHROMIUM=/path/to/chromium." >&2
    if [ "${CI:-}" = true ]; then
        echo "With CI=true a missing Chromium is a failure." >&2
        exit 1
    fi
fi
export CHROMIUM
