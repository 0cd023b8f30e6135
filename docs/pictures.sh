#!/bin/sh
# Draws the pictures of docs/simulator.md anew: a healthy cure and six faults, each
# on a rig with nobody's judgement, so that what a fault does can be seen.
set -eu
cd "$(dirname "$0")/.."

python=${PYTHON:-.cache/venv-tests/bin/python}
if ! command -v "$python" >/dev/null; then
    echo "docs/pictures.sh: no $python; run sh tests/run.sh once, it makes the environment" >&2
    exit 1
fi
mkdir -p docs/pictures
for scenario in whole_cure thermostat_stuck hose_burst slow_leak contactor_welds \
    lead_broken thermocouple_detached; do
    "$python" -m simulator --alone --scenario "$scenario" --plot "docs/pictures/$scenario.svg"
done
