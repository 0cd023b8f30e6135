#!/bin/sh
# Installs curehold from this checkout, and brings an installed one up to date.
#   sudo sh deploy/install.sh               with accounts and rights at Mosquitto
#   sudo sh deploy/install.sh --no-broker   without; no broker, or one elsewhere
#   DESTDIR=/tmp/stage sh deploy/install.sh puts the same files below a folder:
#       needs no root, makes no user, leaves systemd alone. For a look, for tests.
# Run it again as often as you like: what you may have edited is never written
# over. PYTHON=/usr/bin/python3.11 names another Python than /usr/bin/python3.
# docs/install.md says what lies where and what to do next.
set -eu
umask 022
cd "$(dirname "$0")/.."

stage=${DESTDIR-}
python=${PYTHON:-/usr/bin/python3}
home=$stage/opt/curehold
etc=$stage/etc/curehold
rights=$stage/etc/mosquitto/curehold
PATH=$PATH:/usr/sbin:/sbin

say() { echo "install: $*" >&2; }
fail() {
    say "$*"
    exit 1
}

# What a person may have edited: put there once, and never again.
keep_or_put() {
    if [ -e "$2" ]; then
        say "kept as it is: $2"
        return
    fi
    put "$@"
}

# From, to, mode, group.
put() {
    if [ -n "$stage" ]; then
        install -D -m "$3" "$1" "$2"
    else
        install -D -m "$3" -g "$4" "$1" "$2"
    fi
}

look_before() {
    case $stage in
    "") [ "$(id -u)" = 0 ] || fail "this writes to /opt and /etc; run it as root: sudo sh $0" ;;
    /*) ;;
    *) fail "DESTDIR='$stage' is no absolute path; give one that begins with /" ;;
    esac
    # The files of a running program must not change under it, and to stop it in
    # the middle of a cure takes heat away: that is for a person to choose.
    if [ -z "$stage" ] && [ -d /run/systemd/system ] && systemctl -q is-active curehold; then
        fail "curehold is running. When no run is open: systemctl stop curehold, then this again"
    fi
}

install_debian_packages() {
    missing=
    [ -x "$python" ] && "$python" -c 'import ensurepip, venv' 2>/dev/null || missing=python3-venv
    if [ -n "$broker" ] && ! command -v mosquitto_passwd >/dev/null; then
        missing="$missing mosquitto"
    fi
    if [ -z "$stage" ] && ! command -v systemd-sysusers >/dev/null; then
        missing="$missing systemd-standalone-sysusers"
    fi
    if [ -n "$missing" ]; then
        [ -z "$stage" ] || fail "missing: $missing. As root: apt-get install $missing"
        say "installing from Debian: $missing"
        apt-get update -qq
        # shellcheck disable=SC2086  # a list of package names
        DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends $missing >/dev/null
    fi
    "$python" -c 'import sys; sys.exit(sys.version_info < (3, 11))' ||
        fail "Python 3.11 or newer is needed; $python is $("$python" -V). Name another: PYTHON=..."
}

install_program() {
    say "installing the program into $home"
    "$python" -m venv "$home"
    # From a copy: building writes into its tree, and old remains would come along.
    mkdir "$work/source"
    cp -R pyproject.toml README.md daemon drivers rules simulator "$work/source/"
    "$home/bin/python" -m pip install --quiet --disable-pip-version-check "$work/source"
    mkdir -p "$stage/usr/local/bin"
    ln -sf /opt/curehold/bin/curehold "$stage/usr/local/bin/curehold"
}

install_service() {
    # Here and not in /etc/systemd/system: that is for changes of yours.
    put deploy/systemd/curehold.service \
        "$stage/usr/local/lib/systemd/system/curehold.service" 0644 root
    keep_or_put deploy/systemd/curehold.sysusers "$stage/etc/sysusers.d/curehold.conf" 0644 root
    if [ -z "$stage" ]; then systemd-sysusers /etc/sysusers.d/curehold.conf; fi
}

install_configuration() {
    for example in curehold.example.toml curehold.bus.example.toml; do
        put "deploy/$example" "$etc/$example" 0644 root
    done
    keep_or_put deploy/curehold.example.toml "$etc/curehold.toml" 0640 curehold
}

install_broker_rights() {
    sh deploy/mosquitto/make-users.sh "$rights" curehold
    keep_or_put deploy/mosquitto/acl "$rights/acl" 0640 mosquitto
    keep_or_put deploy/mosquitto/curehold.conf "$stage/etc/mosquitto/conf.d/curehold.conf" 0644 root
    if [ -e "$rights/curehold.password" ]; then
        # A new account: this is its password and no other is.
        put "$rights/curehold.password" "$etc/curehold.password" 0640 curehold
        rm "$rights/curehold.password"
    elif [ ! -e "$etc/curehold.password" ]; then
        fail "the account curehold is there, its password $etc/curehold.password is not." \
            "Take the account away, then run this again:" \
            "mosquitto_passwd -D $rights/passwords curehold"
    fi
}

enable_service() {
    if [ -n "$stage" ] || [ ! -d /run/systemd/system ]; then
        say "systemd does not run here, or this is a stage: nothing enabled"
        return
    fi
    systemctl daemon-reload
    systemctl -q enable curehold
    say "enabled: it starts with the computer"
}

say_what_is_next() {
    say "done. Nothing was started. Next, in this order:"
    say "  1. put your rig into $etc/curehold.toml; it holds an invented one at first"
    if [ -z "$broker" ]; then
        say "     and take its [mqtt] section out, or name your broker and its password there"
    fi
    say "  2. sudo -u curehold curehold check     reads every channel, switches nothing"
    if [ -n "$broker" ]; then
        say "  3. systemctl restart mosquitto"
    fi
    say "  4. systemctl start curehold            heat stays off until start is pressed"
}

broker=yes
case "$#:${1-}" in
0:) ;;
1:--no-broker) broker= ;;
*)
    echo "usage: [DESTDIR=FOLDER] sh deploy/install.sh [--no-broker]" >&2
    exit 2
    ;;
esac

look_before
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
trap 'exit 1' HUP INT TERM
install_debian_packages
install_service
install_configuration
if [ -n "$broker" ]; then install_broker_rights; fi
install_program
enable_service
say_what_is_next
