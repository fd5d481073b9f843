#!/usr/bin/env bash
# Installs what the tests need and runs them all, fastest first: ./deploy/test.sh [pytest options]
set -euo pipefail
root=$(cd "$(dirname "$0")/.." && pwd)
. "$root/deploy/prepare.sh"
cd "$root"

left_out=()
have_chromium() { command -v chromium >/dev/null || command -v chromium-browser >/dev/null; }
have_clients() { command -v mosquitto_pub >/dev/null; }
missing=()
have_mosquitto && have_clients || missing+=(mosquitto mosquitto-clients)
have_chromium || missing+=(chromium)
if [ "${#missing[@]}" -gt 0 ]; then
  say "Installing ${missing[*]} ..."
  install_packages "${missing[@]}" || true
fi
have_mosquitto && have_clients || left_out+=("broker")
have_chromium || left_out+=("browser")
if [ "${#left_out[@]}" -gt 0 ] && [ "${CI:-}" = true ]; then
  say "CI leaves nothing out, but these could not be installed: tests marked ${left_out[*]}."
  exit 1
fi
make_environment requirements-test.lock

export HYPOTHESIS_STORAGE_DIRECTORY="${TMPDIR:-/tmp}/sorbwatch-hypothesis"
# Compiled once and kept: else each worker, and each service that a test starts, compiles all of it anew.
unset PYTHONDONTWRITEBYTECODE
# Databases of tests are synced at each commit, which costs a card or disk half a minute and proves nothing more.
if [ -z "${TMPDIR:-}" ] && [ -w /dev/shm ] && [ "$(df -Pk /dev/shm | awk 'END { print $4 }')" -gt 2000000 ]; then
  export TMPDIR=/dev/shm
fi
check() { "$venv/bin/python" -m "$@"; }
check ruff format --check --quiet controller monitor web tests
check ruff check --quiet controller monitor web tests
check mypy --no-error-summary
run() { # marker expression, further options
  local expression="$1"; shift
  for mark in "${left_out[@]:-}"; do [ -z "$mark" ] || expression="($expression) and not $mark"; done
  [ "${#left_out[@]}" -eq 0 ] || say "Left out here: tests marked ${left_out[*]}."
  check pytest -m "$expression" "$@" || { local code=$?; [ "$code" = 5 ] && [ "${#left_out[@]}" -gt 0 ] || exit "$code"; }
}
# By files, since tests of one file share what is slow to make. Browsers are timed by the clock, and run alone.
run "not broker and not browser and not whole" -n 2 --dist loadfile "$@"
run "(broker or whole) and not browser" -n 2 --dist loadfile "$@"
run "browser" "$@"
