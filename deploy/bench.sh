#!/usr/bin/env bash
# Measures and prints a table and JSON: ./deploy/bench.sh [NAME ...]   (without a name: all of the short ones)
set -euo pipefail
root=$(cd "$(dirname "$0")/.." && pwd)
. "$root/deploy/prepare.sh"
cd "$root"
have_mosquitto || install_packages mosquitto mosquitto-clients
make_environment requirements-test.lock
exec env PYTHONPATH="$root/tests" "$venv/bin/python" -m benchmarks "$@"
