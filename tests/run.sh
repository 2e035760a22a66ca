#!/usr/bin/env bash
# All the tests, on a machine with nothing of ours: lint, types, import contracts, tests on SQLite and PostgreSQL, benchmarks.
#   bash tests/run.sh         everything
#   bash tests/run.sh quick   the tests on SQLite alone, without the slow ones
# It installs what is missing, and says what it installs. Environment of Python packages: .venv, ignored by git.
set -euo pipefail
cd "$(dirname "$0")/.."
. tests/setup.sh

mode=${1:-all}
[ "$mode" = all ] || [ "$mode" = quick ] || stop "usage: bash tests/run.sh [quick]"

minutes=()
failed=()

# One part: its name, then its command. A failing part does not hide the parts after it.
part() {
  local name=$1 begun=$SECONDS
  shift
  say "$name"
  "$@" </dev/null || failed+=("$name")
  minutes+=("$(printf '%-36s %5.1f' "$name" "$(awk "BEGIN {print ($SECONDS - $begun) / 60}")")")
}

begun=$SECONDS
choose_python
packages=("${PRINTING_PACKAGES[@]}" poppler-utils qpdf)
[ "$mode" = quick ] || packages+=(postgresql)
install_packages "${packages[@]}"
make_environment tests/requirements.lock
minutes+=("$(printf '%-36s %5.1f' "setting up" "$(awk "BEGIN {print ($SECONDS - $begun) / 60}")")")
bin=$ENVIRONMENT/bin
# Each process has a PostgreSQL server of its own. Files stay whole: what a file's tests share is made once.
tests=(env "TMPDIR=$(folder_of_drafts)" "$bin/python" -m pytest -n "$(number_of_processes)" --dist loadfile)

if [ "$mode" = quick ]; then
  part "tests on SQLite" "${tests[@]}" -m "not postgresql and not slow"
else
  part "ruff" "$bin/ruff" check
  part "ruff format" "$bin/ruff" format --check
  part "mypy" "$bin/mypy"
  part "docstrings of formulas" "$bin/python" -m numpydoc.hooks.validate_docstrings vinebook/formulas/*.py
  part "import contracts" "$bin/lint-imports" --no-cache
  part "tests on SQLite and PostgreSQL" "${tests[@]}"
  part "benchmarks at 1/50 size" "$bin/python" tests/benchmark.py --scale 50
fi

say "minutes of each part"
printf '%s\n' "${minutes[@]}"
if [ ${#failed[@]} -gt 0 ]; then
  stop "failed: $(printf '%s; ' "${failed[@]}")"
fi
say "all parts passed"
