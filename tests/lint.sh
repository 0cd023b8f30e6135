#!/bin/sh
# Style, types, layers and shell scripts. All are run, then any failure is told.
set -u
cd "$(dirname "$0")/.." || exit 1

python=${PYTHON:-.cache/venv-tests/bin/python}
if ! command -v "$python" >/dev/null; then
    echo "tests/lint.sh: no $python; run sh tests/run.sh once, it makes the environment" >&2
    exit 1
fi
bin=$(dirname "$(command -v "$python")")

failed=
step() {
    name=$1
    shift
    echo "== $name"
    "$@" || failed="$failed $name;"
}

shell_files() {
    find . -name '.?*' -prune -o -name '*.sh' -print
    echo .ci/run
}

step "ruff check" "$bin/ruff" check -q .
step "ruff format" "$bin/ruff" format --check -q .
step "mypy" "$bin/mypy"
step "import contracts" "$bin/lint-imports" --cache-dir .cache/import-linter
# shellcheck disable=SC2046 # our file names hold no spaces
step "shellcheck" shellcheck $(shell_files)

if [ -n "$failed" ]; then
    echo "lint failed:$failed" >&2
    exit 1
fi
