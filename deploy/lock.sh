#!/usr/bin/env bash
# Writes the lock files anew from pyproject.toml: every package pinned, with the hashes of all its wheels.
set -euo pipefail
cd "$(dirname "$0")/.."
venv=$(mktemp -d)
trap 'rm -rf "$venv"' EXIT
python3 -m venv "$venv"
"$venv/bin/pip" install --quiet pip-tools
printf 'setuptools>=77\nwheel\n' > "$venv/build.in"
lock() { # file, extras
  "$venv/bin/pip-compile" --quiet --generate-hashes --allow-unsafe --strip-extras --no-annotate --no-header \
    --no-emit-index-url --no-emit-find-links --no-emit-trusted-host --output-file "deploy/$1" "${@:2}" pyproject.toml "$venv/build.in"
}
lock requirements.lock
lock requirements-trial.lock --extra trial
lock requirements-test.lock --extra test --extra trial
