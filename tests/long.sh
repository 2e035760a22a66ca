#!/usr/bin/env bash
# The longer runs: property tests with many random examples, and the benchmarks at full size (about an hour on 2 cores).
set -euo pipefail
cd "$(dirname "$0")/.."
. tests/setup.sh

choose_python
install_packages "${PRINTING_PACKAGES[@]}" poppler-utils qpdf postgresql
make_environment tests/requirements.lock
say "property tests with many examples"
"$ENVIRONMENT/bin/python" -m pytest -m "not slow" --hypothesis-profile=long </dev/null
say "benchmarks at full size"
"$ENVIRONMENT/bin/python" tests/benchmark.py </dev/null
