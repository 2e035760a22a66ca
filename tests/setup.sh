# Shared by tests/run.sh, tests/long.sh and demo/run.sh: installs what a machine lacks and says so in plain words.
# Source it from the top folder of the checkout:
#   . tests/setup.sh
#   choose_python; install_packages pango libpango-1.0-0 …; make_environment tests/runtime.lock
# Afterwards $ENVIRONMENT/bin holds python and vinebook.

ENVIRONMENT=.venv
PRINTING_PACKAGES=(libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0)
export PIP_DISABLE_PIP_VERSION_CHECK=1 PIP_NO_INPUT=1 PIP_ROOT_USER_ACTION=ignore

say() { printf '== %s\n' "$*"; }

stop() {
  printf '%s\n' "$*" >&2
  exit 1
}

# One argument or more: Debian packages. Installs those that are missing, as root or through sudo.
install_packages() {
  local missing=() package as_root=()
  for package in "$@"; do
    if ! dpkg-query -W -f '${Status}' "$package" 2>/dev/null | grep -q '^install ok installed'; then
      missing+=("$package")
    fi
  done
  [ ${#missing[@]} -gt 0 ] || return 0
  if ! command -v apt-get >/dev/null; then
    stop "These packages are missing, and there is no apt-get here to install them: ${missing[*]}."
  fi
  if [ "$(id -u)" -ne 0 ]; then
    if ! command -v sudo >/dev/null; then
      stop "These packages are missing: ${missing[*]}. Ask an administrator to run: apt-get install ${missing[*]}"
    fi
    as_root=(sudo)
  fi
  say "installing with apt-get: ${missing[*]}"
  "${as_root[@]}" apt-get -qq update </dev/null || stop "apt-get update failed; is there a network?"
  "${as_root[@]}" env DEBIAN_FRONTEND=noninteractive \
    apt-get -qq install -y --no-install-recommends "${missing[@]}" </dev/null >/dev/null ||
    stop "apt-get could not install: ${missing[*]}"
}

# How many processes share the tests: one a core, and no more than four, for the memory's sake.
number_of_processes() {
  local cores
  cores=$(nproc)
  echo $((cores < 4 ? cores : 4))
}

# Where the tests keep what they throw away: in memory, where there is room. They make and drop thousands of little books,
# and some file systems are slow to make a file where others were just deleted.
folder_of_drafts() {
  local free
  free=$(df --output=avail -k /dev/shm 2>/dev/null | tail -n 1 || true)
  if [ "${free:-0}" -ge $((4 * 1024 * 1024)) ] && [ -w /dev/shm ]; then echo /dev/shm; else echo "${TMPDIR:-/tmp}"; fi
}

is_new_enough() {
  "$1" -c 'import sys; sys.exit(not (3, 11) <= sys.version_info[:2] <= (3, 13))' >/dev/null 2>&1
}

# Sets PYTHON to a Python of version 3.11 to 3.13 that can make a virtual environment.
choose_python() {
  local candidate
  PYTHON=
  if ! command -v python3 >/dev/null; then install_packages python3 python3-venv; fi
  for candidate in python3 python3.11 python3.12 python3.13; do
    if is_new_enough "$candidate"; then
      PYTHON=$candidate
      break
    fi
  done
  if [ -z "$PYTHON" ]; then
    stop "vinebook needs Python 3.11, 3.12 or 3.13; here python3 is $(python3 --version 2>&1). Install one of them first."
  fi
  if ! "$PYTHON" -c 'import ensurepip, venv' >/dev/null 2>&1; then
    if [ "$PYTHON" = python3 ]; then install_packages python3-venv; else install_packages "$PYTHON-venv"; fi
  fi
}

# What an environment was made from: place, Python, lock, and what pyproject.toml says of the package.
fingerprint() {
  printf '%s|%s|%s' "$PWD" "$("$PYTHON" --version)" "$({ cat "$1"; sed '/^\[tool/,$d' pyproject.toml; } | sha256sum)"
}

# One argument: a lock. Makes the environment with exactly the lock's packages and this checkout in editable form.
# The tests' environment has all that the demo needs.
make_environment() {
  local lock=$1 made_from=
  if [ -f "$ENVIRONMENT/made-from" ]; then made_from=$(cat "$ENVIRONMENT/made-from"); fi
  case $made_from in
    "$(fingerprint "$lock")" | "$(fingerprint tests/requirements.lock)") return 0 ;;
  esac
  say "making the virtual environment $ENVIRONMENT with $("$PYTHON" --version) and the packages of $lock"
  rm -rf "$ENVIRONMENT"
  "$PYTHON" -m venv "$ENVIRONMENT" || stop "Python could not make the virtual environment $ENVIRONMENT."
  "$ENVIRONMENT/bin/python" -m pip install --quiet --require-hashes --only-binary :all: -r "$lock" ||
    stop "pip could not install the packages of $lock; is there a network?"
  "$ENVIRONMENT/bin/python" -m pip install --quiet --no-deps --no-build-isolation --editable . ||
    stop "pip could not install this checkout."
  fingerprint "$lock" >"$ENVIRONMENT/made-from"
}
