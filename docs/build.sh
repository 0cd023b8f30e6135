#!/bin/sh
# Writes the generated docs anew, touching only what changed.
# With --check it writes nothing and fails if one is stale.
set -eu
cd "$(dirname "$0")/.."

python=${PYTHON:-.cache/venv-tests/bin/python}
check=
case "${1-}" in
"") ;;
--check) check=yes ;;
*)
    echo "usage: sh docs/build.sh [--check]" >&2
    exit 2
    ;;
esac
if ! command -v "$python" >/dev/null; then
    echo "docs/build.sh: no $python; run sh tests/run.sh once, it makes the environment" >&2
    exit 1
fi

new=$(mktemp)
trap 'rm -f "$new"' EXIT
stale=0

# The module prints the document.
generate() {
    document=$1
    module=$2
    "$python" -m "$module" >"$new"
    if cmp -s "$new" "$document"; then
        return
    fi
    if [ -n "$check" ]; then
        echo "$document is stale; run: sh docs/build.sh" >&2
        stale=1
    else
        cat "$new" >"$document"
        echo "wrote $document"
    fi
}

generate docs/alarm-life.md rules.document_lifecycle
generate docs/alarms.md rules.document
generate docs/configuration.md daemon.document_config
generate docs/faults.md simulator.document
generate docs/messages.md tests.messages_page
generate docs/lost-sensors.md rules.document_losses
generate docs/mqtt.md daemon.notify.document
generate docs/phases.md rules.document_phases
generate docs/wire-faults.md tests.contract.table
exit $stale
