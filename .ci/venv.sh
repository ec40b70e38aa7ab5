#!/usr/bin/env bash
# Makes the virtual environment if there is none, installs the locked packages and this checkout (editable), and
# prints the environment's folder. Does nothing when pyproject.toml and the lock are those of the last time.
#
#   venv=$(.ci/venv.sh runtime)   what cfgtrack needs to run
#   venv=$(.ci/venv.sh test)      also the tools and libraries that the tests need
#
# CFGTRACK_VENV names the folder (default: .venv in the checkout), CFGTRACK_PYTHON the interpreter to make it with.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."

case "${1-}" in
    runtime) target='.' ;;
    test) target='.[postgres,test,outside]' ;;
    *) echo "usage: .ci/venv.sh runtime|test" >&2; exit 2 ;;
esac
venv=${CFGTRACK_VENV:-$PWD/.venv}

# An environment's paths are written into it, so one that was copied or moved with its checkout starts anew.
wanted=$(printf '%s\n' "$PWD" "$venv" | cat - pyproject.toml requirements.lock | cksum)
installed() { [ "$(cat "$venv/installed-$1" 2>/dev/null)" = "$wanted" ]; }

# Installing this checkout into another one's environment would change what that one runs, in silence.
owner=$(cat "$venv/checkout" 2>/dev/null || true)
if [ -n "${CFGTRACK_VENV-}" ] && [ -n "$owner" ] && [ "$owner" != "$PWD" ] && [ -d "$owner" ]; then
    echo "$venv is the environment of $owner: name another folder with CFGTRACK_VENV, or remove it" >&2
    exit 2
fi

python() {
    local name
    for name in ${CFGTRACK_PYTHON:-python3.11 python3.12 python3.13 python3}; do
        if "$name" -c 'import sys, venv, ensurepip; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
            echo "$name"
            return
        fi
    done
    echo "cfgtrack needs Python 3.11 or later with its venv module; set CFGTRACK_PYTHON to one" >&2
    return 1
}

install() {
    local cleared=
    [ ! -e "$venv/pyvenv.cfg" ] || cleared=yes
    installed "$1" || { [ "$1" = runtime ] && installed test; } && return
    if ! "$venv/bin/python" -m pip --version >/dev/null 2>&1; then
        # Only what is an environment is emptied: CFGTRACK_VENV may name any folder by mistake.
        "$(python)" -m venv ${cleared:+--clear} "$venv"
    fi
    echo "installing what cfgtrack needs ($1) into $venv ..." >&2
    "$venv/bin/python" -m pip install -qq --disable-pip-version-check --no-input \
        --constraint requirements.lock --editable "$target" >&2
    rm -f "$venv"/installed-*
    echo "$PWD" >"$venv/checkout"
    echo "$wanted" >"$venv/installed-$1"
}

# Two runs at once in one checkout take turns.
if command -v flock >/dev/null; then
    exec 9<.ci/venv.sh
    flock 9
fi
install "$1"
echo "$venv"
