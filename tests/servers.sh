#!/bin/sh
# Installs the servers that the tests speak to, where this user may; says aloud what is missing.
set -u
missing=""
have() { command -v "$1" >/dev/null 2>&1 || [ -x "/usr/sbin/$1" ]; }
have mosquitto || missing="$missing mosquitto"
have mosquitto_pub || missing="$missing mosquitto-clients"
have chromium-headless-shell || have chromium || have chromium-browser || have google-chrome ||
  missing="$missing chromium-headless-shell"
have influxd || missing="$missing influxdb"
ls /usr/lib/postgresql/*/bin/initdb >/dev/null 2>&1 || missing="$missing postgresql"
if [ "${STEADYBEAD_NO_CONTAINERS:-}" != 1 ] && [ -z "${DOCKER_HOST:-}" ]; then
  have dockerd || missing="$missing docker.io"
  have docker-compose || docker compose version >/dev/null 2>&1 || missing="$missing docker-compose"
  [ -e /usr/share/doc/python3-venv ] || missing="$missing python3-venv"
fi
[ -n "$missing" ] || exit 0
if command -v apt-get >/dev/null 2>&1 && [ "$(id -u)" = 0 ]; then
  echo "installing for the tests:$missing"
  # Debian's own way to install a server without starting it: the tests start theirs themselves.
  policy=/usr/sbin/policy-rc.d
  [ -e "$policy" ] || { printf '#!/bin/sh\nexit 101\n' >"$policy" && chmod +x "$policy" && trap 'rm -f "$policy"' EXIT; }
  # shellcheck disable=SC2086
  DEBIAN_FRONTEND=noninteractive apt-get update -qq &&
    DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends $missing >/dev/null
else
  echo "NOT INSTALLED (needs root and apt-get):$missing — the tests that need them are skipped aloud"
fi
exit 0
