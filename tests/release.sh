#!/usr/bin/env bash
# Builds wheel and sdist into dist/ and tries both outside the checkout, in bare environments of Python 3.11, 3.12 and
# 3.13: a book of `demo/first`, each report, verify. Fails where one of the three Pythons is not to be found.
#   bash tests/release.sh            all three
#   bash tests/release.sh 3.13      these alone
set -euo pipefail
cd "$(dirname "$0")/.."
. tests/setup.sh

top=$PWD
versions=("$@")
[ $# -gt 0 ] || versions=(3.11 3.12 3.13)
failed=()

# The newest Python of a version: on the path, or where pyenv or uv keep theirs.
python_of() {
  local found
  for found in $(command -v "python$1" || true) "$HOME"/.pyenv/versions/"$1".*/bin/python3 \
    "$HOME"/.local/share/uv/python/cpython-"$1".*/bin/python3; do
    if [ -x "$found" ] && [ "$("$found" -c 'import sys; print("%d.%d" % sys.version_info[:2])' 2>/dev/null)" = "$1" ]; then
      printf '%s' "$found"
      return
    fi
  done
}

# Python, package (a wheel or an sdist): tries the package in an environment of its own.
try_out() {
  local python=$1 package=$2 place code
  place=$(mktemp -d)
  # Behind || or in an if the subshell would go on after a command that failed.
  set +e
  (
    set -euo pipefail
    cd "$place"
    unset PYTHONPATH VINEBOOK_BOOK
    export VINEBOOK_BY="R. Quill"
    "$python" -m venv environment
    pip=(environment/bin/python -m pip install --quiet)
    "${pip[@]}" --require-hashes --only-binary :all: -r "$top/tests/runtime.lock"
    # The lock holds what builds the sdist.
    "${pip[@]}" --no-deps --no-build-isolation "$package"
    vinebook=environment/bin/vinebook
    "$vinebook" --version
    where=$(environment/bin/python -c 'import vinebook; print(vinebook.__file__)')
    case $where in "$place"/*) ;; *) stop "imported $where, which is not what was installed" ;; esac
    "$vinebook" new
    "$vinebook" --quiet load "$top"/demo/first/*.csv
    # A decision is made for a season that is not over.
    next=$(($(date +%Y) + 1))
    "$vinebook" decide A1 --season "$next" --decides nodes_to_keep --value 26 --words "26 nodes" --reason "as it stood"
    "$vinebook" draw A1 --season 2025 --for clusters_per_vine --vines 12 --on 2025-05-20 >/dev/null
    "$vinebook" figures A1 --season 2024 >figures.txt
    "$vinebook" report history A1 -o history.pdf
    "$vinebook" report statement --to "Bell Lane Cellar" --season 2024 -o statement.pdf
    "$vinebook" report trail A1 -o trail.pdf
    "$vinebook" report overview --season 2024 -o overview.pdf
    "$vinebook" report card A1 --season "$next" -o card.pdf
    "$vinebook" report sheet A1/2025/1 -o sheet.pdf
    for pdf in history statement trail overview card sheet; do
      pdftotext "$pdf.pdf" - | grep -c vinebook >/dev/null || stop "$pdf.pdf holds no text"
    done
    "$vinebook" export package
    "$vinebook" --book again.db import package
    "$vinebook" verify
  )
  code=$?
  set -e
  [ $code -eq 0 ] || failed+=("$(basename "$package") on $("$python" --version)")
  rm -rf "$place"
}

choose_python
install_packages "${PRINTING_PACKAGES[@]}" poppler-utils
make_environment tests/requirements.lock
say "building wheel and sdist"
rm -rf dist
"$ENVIRONMENT/bin/python" -m build --no-isolation >/dev/null
ls dist
for version in "${versions[@]}"; do
  python=$(python_of "$version")
  if [ -z "$python" ]; then
    failed+=("no Python $version here")
    continue
  fi
  for package in "$top"/dist/*.whl "$top"/dist/*.tar.gz; do
    say "$(basename "$package") on $("$python" --version)"
    try_out "$python" "$package"
  done
done
if [ ${#failed[@]} -gt 0 ]; then
  stop "failed: $(printf '%s; ' "${failed[@]}")"
fi
say "wheel and sdist work on Python ${versions[*]}"
