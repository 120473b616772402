# Sourced by samples/demo.sh, tests/run.sh and .ci/lint.sh: installs what is missing on a Debian machine and builds.
# shellcheck shell=bash

ripplegauge_packages=(
  g++ cmake ninja-build pkg-config
  libopencv-dev libcli11-dev nlohmann-json3-dev libeigen3-dev libboost-math-dev
  libjpeg62-turbo-dev libpng-dev libheif-dev libexiv2-dev libssl-dev libicu-dev libfmt-dev
  libpango1.0-dev fonts-dejavu-core fonts-noto-core fonts-droid-fallback
  libcpp-httplib-dev libqrencode-dev
  ccache
)

# install_packages EXTRA... : installs ours and the extra ones, only where something is missing.
install_packages() {
  local missing=()
  local package
  for package in "${ripplegauge_packages[@]}" "$@"; do
    dpkg-query -W -f='${Status}' "$package" 2>/dev/null | grep -q 'install ok installed' || missing+=("$package")
  done
  if [ ${#missing[@]} -eq 0 ]; then return 0; fi
  echo "installing: ${missing[*]}"
  local as_root=()
  [ "$(id -u)" -eq 0 ] || as_root=(sudo)
  "${as_root[@]}" apt-get update -qq
  DEBIAN_FRONTEND=noninteractive "${as_root[@]}" apt-get install -y -qq --no-install-recommends "${missing[@]}" >/dev/null
}

# configured FOLDER: whether FOLDER holds a build already. Its options are then left alone, since turning the tests off
# would throw away what is built of them.
configured() { [ -f "$1/CMakeCache.txt" ]; }

# show_steps LOG: the build's output goes into LOG; of its steps the newest is shown, on a terminal as one line that
# is written over, elsewhere every ten seconds.
show_steps() {
  local log=$1 line next=0
  while IFS= read -r line; do
    printf '%s\n' "$line" >>"$log"
    case $line in '['[0-9]*/[0-9]*']'*) ;; *) continue ;; esac
    if [ -t 1 ]; then
      printf '\r\033[K  %.76s' "$line"
    elif [ "$SECONDS" -ge "$next" ]; then
      printf '  %s\n' "${line%%]*}] after $SECONDS s"
      next=$((SECONDS + 10))
    fi
  done
  if [ -t 1 ]; then printf '\r\033[K'; fi
}

# build FOLDER CMAKE_OPTION... [--target NAME...] : configures and builds, showing how far it is; of the compiler's
# words only what went wrong. ccache, where it is installed, compiles nothing twice. With CI set warnings are errors.
build() {
  local folder=$1 options=()
  shift
  while [ $# -gt 0 ] && [ "$1" != --target ]; do
    options+=("$1")
    shift
  done
  if command -v ccache >/dev/null; then options+=(-DCMAKE_CXX_COMPILER_LAUNCHER=ccache); fi
  if [ -n "${CI:-}" ]; then options+=(-DRIPPLEGAUGE_WERROR=ON); fi
  local log
  log=$(mktemp)
  if ! { cmake -S . -B "$folder" -G Ninja "${options[@]}" >"$log" 2>&1 &&
    (set -o pipefail && cmake --build "$folder" "$@" 2>&1 | show_steps "$log"); }; then
    tail -n 60 "$log"
    rm -f "$log"
    echo "the build failed; the lines above say where" >&2
    return 1
  fi
  rm -f "$log"
}
