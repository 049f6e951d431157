#!/bin/sh
# Sees to it that the programs are there that tests hold ours against or drive it with: all of them, or those named.
# Installs them where that needs no password; says what is left out where not. With CI=true nothing may be left out.
set -eu

is_there() {
    case "$1" in
        # Debian keeps the server's programs off the path; the tests look there too.
        postgresql) command -v initdb || ls /usr/lib/postgresql/*/bin/initdb ;;
        chromium) command -v chromium || command -v chromium-browser ;;
        poppler-utils) command -v pdftoppm ;;
        *) command -v "$1" ;;
    esac >/dev/null 2>&1
}

left_out() {
    case "$1" in
        ngspice) echo "the tests that hold our circuit solution against it (marker needs_ngspice)" ;;
        postgresql) echo "the tests of the store in a data base of a workshop with many bays" ;;
        chromium) echo "the tests of the pages in a browser" ;;
        poppler-utils) echo "the tests that look at the pages of a report" ;;
        tshark) echo "the tests that hold our decoding of diagnostic messages against it (marker needs_tshark)" ;;
        *) echo "what needs $1" ;;
    esac
}

missing() {
    for tool in "$@"; do
        is_there "$tool" || printf '%s ' "$tool"
    done
}

[ $# -gt 0 ] || set -- ngspice postgresql chromium poppler-utils tshark
wanted=$(missing "$@")
[ -n "$wanted" ] || exit 0

as_root=
if [ "$(id -u)" -ne 0 ]; then
    as_root="sudo -n"
    sudo -n true 2>/dev/null || as_root=no
fi
if [ "$as_root" != no ] && command -v apt-get >/dev/null 2>&1; then
    echo "Installing ${wanted}(needed by tests) ..."
    # sudo keeps no environment of ours: the answer to questions goes along with the command.
    $as_root apt-get update -qq || true
    for tool in $wanted; do # one by one, so that one that can't be had keeps no other out
        $as_root env DEBIAN_FRONTEND=noninteractive \
            apt-get install -qq -y --no-install-recommends "$tool" >/dev/null || true
    done
fi
wanted=$(missing $wanted)
[ -n "$wanted" ] || exit 0

for tool in $wanted; do
    echo "$tool is not installed and could not be installed from here." >&2
    echo "  Left out: $(left_out "$tool")." >&2
done
echo "  To get it: sudo apt-get install $wanted  (macOS: brew install; some have other names there)" >&2
if [ "${CI:-}" = true ]; then
    echo "  CI=true: nothing may be left out, so this is a failure." >&2
    exit 1
fi
