#!/usr/bin/env bash
# Installs sorbwatch as a service on this board: sudo ./deploy/install.sh
# Copies this folder to /opt/sorbwatch, makes the user, the settings and the service units. Safe to run again (upgrade).
set -euo pipefail
root=$(cd "$(dirname "$0")/.." && pwd)
target=${SORBWATCH_TARGET:-/opt/sorbwatch}
[ "$(id -u)" = 0 ] || { echo "Run this as root: sudo $0" >&2; exit 1; }
command -v systemctl >/dev/null || { echo "This board has no systemd; start 'sorbwatch serve' by its own service manager." >&2; exit 1; }

if [ "$root" != "$target" ]; then
  mkdir -p "$target"
  tar -C "$root" --exclude=.git --exclude=.venv --exclude=.state --exclude='__pycache__' -cf - . | tar -C "$target" -xf -
fi
root=$target
. "$root/deploy/prepare.sh"
have_mosquitto || install_packages mosquitto || { say "mosquitto could not be installed."; exit 1; }
make_environment requirements.lock

id sorbwatch >/dev/null 2>&1 || useradd --system --home-dir /var/lib/sorbwatch --shell /usr/sbin/nologin sorbwatch
getent group i2c >/dev/null || groupadd --system i2c
install -d -m 0755 /etc/sorbwatch
[ -e /etc/sorbwatch/settings.toml ] || install -m 0644 "$root/deploy/settings.sample.toml" /etc/sorbwatch/settings.toml
install -m 0644 "$root"/deploy/systemd/*.service /etc/systemd/system/
# Debian starts a broker of its own on port 1883; ours is another process with its own files, on the same port.
if systemctl is-active --quiet mosquitto; then
  say "A mosquitto service runs already. Its port may clash with ours:"
  say "either 'systemctl disable --now mosquitto', or use it: [broker] kind = \"external\" in /etc/sorbwatch/settings.toml."
fi
ln -sf "$target/.venv/bin/sorbwatch" /usr/local/bin/sorbwatch
systemctl daemon-reload
systemctl enable --now sorbwatch.service
systemctl try-restart sorbwatch.service
if ls /dev/i2c-* >/dev/null 2>&1; then
  systemctl enable --now sorbwatch-node.service
else
  say "No I2C bus is enabled on this board; after enabling it: systemctl enable --now sorbwatch-node"
fi
say "Installed. The page is at http://127.0.0.1:8484 on this board; see /etc/sorbwatch/settings.toml for phones and nodes."
