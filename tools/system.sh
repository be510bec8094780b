#!/usr/bin/env bash
# Install what the tests need from the system: a browser and a database server. Without apt or the right to use it,
# say what is missing; the tests that need it then skip, except where CI is set.
set -eu
wanted=()
command -v chromium >/dev/null || wanted+=(chromium)
ls /usr/lib/postgresql/*/bin/initdb >/dev/null 2>&1 || wanted+=(postgresql)
[ ${#wanted[@]} -eq 0 ] && exit 0
if command -v apt-get >/dev/null && [ "$(id -u)" = 0 ]; then
    export DEBIAN_FRONTEND=noninteractive
    apt-get update -qq
    apt-get install -y -qq --no-install-recommends "${wanted[@]}" >/dev/null
else
    echo "Not installed: ${wanted[*]}. The tests that need them are skipped." >&2
fi
