#!/usr/bin/env bash
# The longer runs: property tests with many random examples, a thousand changes behind the journal's back, two hundred
# kills, four people at a book in a file and eight at one on a server, twenty thousand damaged tallies and as many damaged
# packages, the study of coverage, verify of two million sampled vines, a full disk, and the benchmarks at full size (more
# than an hour on 2 cores).
set -euo pipefail
cd "$(dirname "$0")/.."
. tests/setup.sh

choose_python
install_packages "${PRINTING_PACKAGES[@]}" poppler-utils qpdf postgresql
make_environment tests/requirements.lock
say "property tests with many examples"
"$ENVIRONMENT/bin/python" -m pytest -n "$(number_of_processes)" --dist loadfile -m "not slow" --hypothesis-profile=long </dev/null
say "a thousand changes by plain SQL"
PYTHONPATH=. "$ENVIRONMENT/bin/python" tests/long/tampering.py </dev/null
say "kill -9 two hundred times"
PYTHONPATH=. "$ENVIRONMENT/bin/python" tests/long/killing.py </dev/null
say "eight people at one book, in peace and with the server failing under them"
PYTHONPATH=. "$ENVIRONMENT/bin/python" tests/long/writing.py </dev/null
say "twenty thousand damaged files"
PYTHONPATH=. "$ENVIRONMENT/bin/python" tests/long/damaging.py </dev/null
say "twenty thousand damaged data packages"
PYTHONPATH=. "$ENVIRONMENT/bin/python" tests/long/packing.py </dev/null
say "where the intervals hold, 10,000 samples a cell"
OPENBLAS_NUM_THREADS=1 PYTHONPATH=. "$ENVIRONMENT/bin/python" -m tests.studies.coverage </dev/null
say "verify of two million sampled vines"
PYTHONPATH=. "$ENVIRONMENT/bin/python" tests/long/verifying.py </dev/null
say "a full disk"
PYTHONPATH=. "$ENVIRONMENT/bin/python" tests/long/filling.py </dev/null
say "benchmarks at full size"
"$ENVIRONMENT/bin/python" tests/benchmark.py </dev/null
