#!/bin/sh
# Makes or brings up to date the virtual environment .venv from lock.txt, then installs backprobe into it, editable.
# Nothing is done when nothing has changed since the last time. Called by the Makefile; run it by hand if you like.
set -eu
cd "$(dirname "$0")/.."

fail() {
    printf '\nbackprobe cannot be set up: %s\n' "$1" >&2
    shift
    for line in "$@"; do printf '  %s\n' "$line" >&2; done
    exit 1
}

system_python=${PYTHON:-python3}
command -v "$system_python" >/dev/null 2>&1 || fail \
    "there is no \"$system_python\" on the path." \
    "Debian, Ubuntu: sudo apt-get install python3 python3-venv" \
    "or name another interpreter: make PYTHON=/path/to/python3.11"
"$system_python" -c 'import sys; sys.exit(sys.version_info < (3, 11))' || fail \
    "\"$system_python\" is $("$system_python" --version 2>&1); Python 3.11 or newer is needed." \
    "Name a newer interpreter: make PYTHON=/path/to/python3.11"
"$system_python" -c 'import venv, ensurepip' >/dev/null 2>&1 || fail \
    "this Python has no module for virtual environments." \
    "Debian, Ubuntu: sudo apt-get install python3-venv" \
    "then run make again."

# A copied or moved checkout, another interpreter, another lock: each asks for the work to be done again.
key="$(cat lock.txt pyproject.toml scripts/set_up.sh | cksum) $("$system_python" --version) $PWD"
stamp=.venv/set-up-for
if [ -f "$stamp" ] && [ "$(cat "$stamp")" = "$key" ] && .venv/bin/python -c '' 2>/dev/null; then
    exit 0
fi

echo "Setting up .venv (about 1.2 GB with all that the tests need, once) ..."
same_python='import sys; sys.stdout.write("%d.%d" % sys.version_info[:2])'
wanted=$("$system_python" -c "$same_python")
found=$(.venv/bin/python -c "$same_python" 2>/dev/null || echo none)
if [ "$wanted" != "$found" ]; then
    "$system_python" -m venv --clear .venv || fail \
        "the virtual environment .venv could not be made (see above)." \
        "Debian, Ubuntu: sudo apt-get install python3-venv"
fi
rm -f "$stamp"

# Everything comes with a hash from lock.txt. uv is quick; where it does not run, pip does the same in a minute.
no_network="Is there a network connection, and may it reach a Python package index? Then run make again."
awk '/^[^ #]/ { wanted = 0 } /^uv==/ { wanted = 1 } wanted' lock.txt > .venv/uv.txt
if .venv/bin/python -m pip install --quiet --disable-pip-version-check --require-hashes -r .venv/uv.txt &&
    .venv/bin/python -m uv pip install --quiet --python .venv/bin/python --require-hashes -r lock.txt; then
    :
else
    echo "uv did not manage it; trying pip ..."
    .venv/bin/python -m pip install --quiet --disable-pip-version-check --require-hashes -r lock.txt || fail \
        "the packages of lock.txt could not be installed (see above)." "$no_network"
fi
.venv/bin/python -m pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation --editable . || fail \
    "backprobe itself could not be installed into .venv (see above)."
printf '%s\n' "$key" > "$stamp"
