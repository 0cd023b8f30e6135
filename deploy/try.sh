#!/bin/sh
# Sets up and shows the main job on a pretend rig: nothing is heated.
#   sh deploy/try.sh
# A fresh Debian machine needs the network once; a second run needs none.
set -eu
cd "$(dirname "$0")/.."

say() { echo "try: $*" >&2; }

missing=
for program in mosquitto mosquitto_passwd; do
    PATH="$PATH:/usr/sbin" command -v "$program" >/dev/null || missing=mosquitto
done
python=$(command -v python3.11 || command -v python3 || true)
if [ -z "$python" ] || ! "$python" -c 'import venv, ensurepip' 2>/dev/null; then
    missing="$missing python3-venv"
fi
if [ -n "$missing" ]; then
    if [ "$(id -u)" = 0 ]; then root=; else root=sudo; fi
    if [ -n "$root" ] && ! command -v sudo >/dev/null; then
        say "missing: $missing. As root: apt-get install $missing"
        exit 1
    fi
    say "installing from Debian: $missing"
    $root apt-get update -qq
    # shellcheck disable=SC2086  # a list of package names
    $root apt-get install -y -qq --no-install-recommends $missing >/dev/null
    # The package starts a broker of its own, which is not wanted here; ours is started by hand.
    case $missing in *mosquitto*)
        if [ -d /run/systemd/system ]; then $root systemctl disable --quiet --now mosquitto; fi
        ;;
    esac
    python=$(command -v python3.11 || command -v python3)
fi
"$python" -c 'import sys; sys.exit(sys.version_info < (3, 11))' || {
    say "Python 3.11 or newer is needed; this is $("$python" -V)"
    exit 1
}

log=.cache/try-setup.log
mkdir -p .cache
trap 'say "stopped; nothing is left running"; exit 130' INT TERM

# What a step prints is shown only when it fails.
step() {
    "$@" >"$log" 2>&1 || {
        cat "$log" >&2
        say "that did not work: $*"
        exit 1
    }
}

home=.cache/venv-try
stamp=$(cat pyproject.toml "$0" | sha256sum | cut -c1-16)
if [ "$(cat "$home/stamp" 2>/dev/null)" != "$stamp" ]; then
    say "making its own Python environment in $home (once, a minute)"
    rm -rf "$home"
    step "$python" -m venv "$home"
    step "$home/bin/pip" install --quiet --disable-pip-version-check -e .
    echo "$stamp" >"$home/stamp"
fi
exec "$home/bin/python" deploy/try_show.py "$@"
