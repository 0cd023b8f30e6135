#!/bin/sh
# Everything a change must pass: lint, types, layers, then all tests.
# Makes its own environment in .cache/venv-tests; arguments go to pytest.
set -eu
cd "$(dirname "$0")/.."

venv=.cache/venv-tests
python=${PYTHON:-python3}

if ! "$python" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
    echo "tests/run.sh: needs Python 3.11 or newer as python3; or name one: PYTHON=python3.11 sh tests/run.sh" >&2
    exit 1
fi

# Debian package, and how to see that it is there.
missing=
have() {
    package=$1
    shift
    "$@" >/dev/null 2>&1 || missing="$missing $package"
}
PATH=$PATH:/usr/sbin
have mosquitto command -v mosquitto
have mosquitto-clients command -v mosquitto_sub
have mbpoll command -v mbpoll
have shellcheck command -v shellcheck
have systemd command -v systemd-analyze
have python3-venv "$python" -c 'import ensurepip'

if [ -n "$missing" ]; then
    as_root=
    if [ "$(id -u)" -ne 0 ]; then
        as_root="sudo -n"
        if ! sudo -n true 2>/dev/null; then
            echo "tests/run.sh: install these first, as root: apt-get install$missing" >&2
            exit 1
        fi
    fi
    echo "== installing$missing"
    $as_root apt-get -q update
    # shellcheck disable=SC2086 # a list of package names
    $as_root env DEBIAN_FRONTEND=noninteractive apt-get -q -y --no-install-recommends install $missing
    # The package starts a broker of its own; the tests start theirs.
    case "$missing " in *" mosquitto "*)
        if [ -d /run/systemd/system ]; then $as_root systemctl disable --quiet --now mosquitto; fi
        ;;
    esac
fi

# The environment is kept until what it is made from changes.
stamp=$("$python" -c 'import sys; print(sys.version, sys.executable)'; cat pyproject.toml)
stamp=$(printf '%s' "$stamp" | sha256sum)
if [ "$(cat "$venv/stamp" 2>/dev/null)" != "$stamp" ]; then
    echo "== making $venv"
    if ! rm -rf "$venv" 2>/dev/null; then
        echo "tests/run.sh: cannot renew $venv; remove it as the user who made it" >&2
        exit 1
    fi
    "$python" -m venv "$venv"
    "$venv/bin/python" -m pip install -q --disable-pip-version-check -e '.[dev]'
    printf '%s' "$stamp" >"$venv/stamp"
fi

PYTHON=$PWD/$venv/bin/python
export PYTHON
status=0
sh tests/lint.sh || status=1 # told above; the tests still say what they have to say
echo "== tests"
# Two at a time, a file each: an end-to-end file keeps its one long cure to itself.
"$PYTHON" -m pytest -n 2 --dist loadfile "$@" || status=1
exit $status
