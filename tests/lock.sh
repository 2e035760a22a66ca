#!/usr/bin/env bash
# Writes both locks anew: requirements.lock for the tests, runtime.lock for the demo. Run it when pyproject.toml changes,
# in an environment that has uv (pip install uv).
set -euo pipefail
cd "$(dirname "$0")/.."

compile() {
  uv pip compile --quiet --universal --python-version 3.11 --generate-hashes --no-emit-index-url --no-emit-find-links \
    --no-annotate --custom-compile-command "bash tests/lock.sh" "$@" pyproject.toml
}

compile --upgrade --all-extras --group dev --output-file tests/requirements.lock
compile --upgrade --extra postgresql --group build --constraint tests/requirements.lock --output-file tests/runtime.lock
