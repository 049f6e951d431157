#!/bin/sh
# Sees to it that the circuit simulator ngspice is there: an independent check of our own circuit solution uses it.
# Installs it where that needs no password; says what is left out where not. With CI=true nothing may be left out.
set -eu
command -v ngspice >/dev/null 2>&1 && exit 0

as_root=
if [ "$(id -u)" -ne 0 ]; then
    as_root="sudo -n"
    sudo -n true 2>/dev/null || as_root=no
fi
if [ "$as_root" != no ] && command -v apt-get >/dev/null 2>&1; then
    echo "Installing ngspice (needed by tests) ..."
    export DEBIAN_FRONTEND=noninteractive
    $as_root apt-get update -qq || true
    $as_root apt-get install -qq -y --no-install-recommends ngspice >/dev/null || true
fi
command -v ngspice >/dev/null 2>&1 && exit 0

echo "ngspice is not installed and could not be installed from here." >&2
echo "  Left out: the tests that hold our circuit solution against it (marker needs_ngspice)." >&2
echo "  To get it: sudo apt-get install ngspice   (macOS: brew install ngspice)" >&2
if [ "${CI:-}" = true ]; then
    echo "  CI=true: nothing may be left out, so this is a failure." >&2
    exit 1
fi
