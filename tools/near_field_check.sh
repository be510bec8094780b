#!/usr/bin/env bash
# Hold the fields near wires against an independent open solver, the package nec2c. Optional: `make check` does not
# need it, and the tests skip where it is missing.
set -eu
cd "$(dirname "$0")/.."
if ! command -v nec2c >/dev/null; then
    export DEBIAN_FRONTEND=noninteractive
    apt-get update -qq
    apt-get install -y -qq --no-install-recommends nec2c >/dev/null
fi
exec .venv/bin/pytest -q -rA -m slow tests/physics/test_near_field_solver.py
