# Sourced by run.sh and test.sh: the environment, made once and made again only when its lock changes.
# Gives: say, as_root, have_mosquitto, make_environment LOCKFILE, install_packages NAME...

venv="${SORBWATCH_VENV:-$root/.venv}"

say() { printf '%s\n' "$*" >&2; }

as_root() { # runs a command as root where that needs no questions; fails quietly otherwise
  if [ "$(id -u)" = 0 ]; then "$@"; elif command -v sudo >/dev/null && sudo -n true 2>/dev/null; then sudo -n "$@"; else return 1; fi
}

have_mosquitto() { PATH="$PATH:/usr/sbin:/usr/local/sbin" command -v mosquitto >/dev/null; }

install_packages() { # Debian packages, where this machine lets us
  command -v apt-get >/dev/null || return 1
  as_root env DEBIAN_FRONTEND=noninteractive apt-get -qq update >/dev/null 2>&1 || true
  # The log is shown only when it fails: a person wants to know why then, and nothing otherwise.
  local log; log=$(mktemp)
  if as_root env DEBIAN_FRONTEND=noninteractive apt-get -qq -y --no-install-recommends install "$@" >"$log" 2>&1; then
    rm -f "$log"
  else
    tail -n 3 "$log" >&2; rm -f "$log"; return 1
  fi
}

find_python() {
  local candidate
  for candidate in "${PYTHON:-}" python3 python3.13 python3.12 python3.11; do
    if [ -n "$candidate" ] && command -v "$candidate" >/dev/null &&
       "$candidate" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
      command -v "$candidate"; return 0
    fi
  done
  say "sorbwatch needs Python 3.11 or later; install it and run this again."
  return 1
}

make_environment() { # LOCKFILE
  local lock="$root/deploy/$1" wanted python
  wanted=$(cat "$lock" "$root/pyproject.toml" | sha256sum | cut -c1-64)
  [ "$(cat "$venv/.installed" 2>/dev/null)" = "$1 $wanted $root" ] && return 0
  python=$(find_python) || return 1
  if ! "$venv/bin/python" -c 'import pip' 2>/dev/null; then
    say "Making the environment in $venv (a few minutes the first time) ..."
    rm -rf "$venv"
    if ! "$python" -m venv "$venv" 2>/dev/null; then
      # Debian ships the venv module apart from Python.
      rm -rf "$venv"
      install_packages python3-venv && "$python" -m venv "$venv" ||
        { say "Python's venv module is missing: run 'apt-get install python3-venv', then this again."; return 1; }
    fi
  fi
  "$venv/bin/pip" install --quiet --disable-pip-version-check --require-hashes --only-binary :all: -r "$lock" ||
    { say "Installing the packages of deploy/$1 failed; is there a network?"; return 1; }
  "$venv/bin/pip" install --quiet --disable-pip-version-check --no-deps --no-build-isolation -e "$root" || return 1
  printf '%s %s %s' "$1" "$wanted" "$root" > "$venv/.installed"
}
