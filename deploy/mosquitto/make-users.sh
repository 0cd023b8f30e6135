#!/bin/sh
# Makes broker accounts with random passwords.
#
#   sh make-users.sh DIRECTORY NAME...
#   sh make-users.sh /etc/mosquitto/curehold curehold board bay-2-phone
#
# Writes DIRECTORY/passwords (hashed, for Mosquitto) and for each name
# DIRECTORY/NAME.password (the password itself, mode 0600: copy it to where it
# is needed, then delete it). A name that has an account already keeps its
# password; to give it a new one, first: mosquitto_passwd -D passwords NAME
set -eu

if [ $# -lt 2 ]; then
    echo "usage: sh make-users.sh DIRECTORY NAME..." >&2
    exit 2
fi
if ! command -v mosquitto_passwd >/dev/null; then
    echo "mosquitto_passwd is missing; install it: apt install mosquitto" >&2
    exit 1
fi

directory=$1
shift
for name in "$@"; do
    case $name in
    *[!a-z0-9-]* | "" | ?????????????????????????*)
        echo "account name '$name': use 1 to 24 small letters, digits and hyphens" >&2
        exit 2
        ;;
    esac
done

umask 077
mkdir -p "$directory"
passwords=$directory/passwords
touch "$passwords"
work=$(mktemp -d "$directory/.make-users.XXXXXX")
trap 'rm -rf "$work"' EXIT
trap 'exit 1' HUP INT TERM

for name in "$@"; do
    if grep -q "^$name:" "$passwords"; then
        echo "$name: has an account already, left as it is" >&2
        continue
    fi
    password=$(od -An -N 18 -tx1 /dev/urandom | tr -d ' \n')
    # Through a file and not an argument: arguments are readable by everyone.
    printf '%s:%s\n' "$name" "$password" >"$work/new"
    mosquitto_passwd -U "$work/new"
    printf '%s\n' "$password" >"$work/password"
    mv "$work/password" "$directory/$name.password"
    cat "$passwords" "$work/new" >"$work/all"
    mv "$work/all" "$passwords"
    echo "$name: password in $directory/$name.password" >&2
done

# Mosquitto drops to its own user and must still be able to read these two.
if [ "$(id -u)" = 0 ] && getent group mosquitto >/dev/null; then
    chgrp mosquitto "$directory" "$passwords"
    chmod 0710 "$directory"
    chmod 0640 "$passwords"
fi
