#!/usr/bin/env bash
# Makes the environment, installs, and starts the demo site: ./deploy/run.sh [--listen ADDRESS] [--speed N] ...
set -euo pipefail
root=$(cd "$(dirname "$0")/.." && pwd)
. "$root/deploy/prepare.sh"

lock=requirements.lock
if ! have_mosquitto; then
  say "Installing the MQTT broker (Debian package mosquitto) ..."
  if ! install_packages mosquitto; then
    say "mosquitto is missing and may not be installed from here: using the trial broker, which may lose readings."
    say "For the real one run 'apt-get install mosquitto' as root, then this again."
    lock=requirements-trial.lock
  fi
fi
# An environment made for the tests holds all that is needed here too.
case "$(cut -d' ' -f1 "$venv/.installed" 2>/dev/null || true)" in
  requirements-test.lock) lock=requirements-test.lock ;;
esac
make_environment "$lock"
exec "$venv/bin/sorbwatch" demo "$@"
