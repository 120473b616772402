# Sourced by samples/demo.sh and tests/run.sh: installs what is missing on a Debian machine and builds.
# shellcheck shell=bash

ripplegauge_packages=(
  g++ cmake ninja-build pkg-config
  libopencv-dev libcli11-dev nlohmann-json3-dev libeigen3-dev libboost-math-dev
  libjpeg62-turbo-dev libpng-dev libheif-dev libexiv2-dev libssl-dev libcairo2-dev libicu-dev
  catch2
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

# build FOLDER CMAKE_OPTION... [--target NAME...] : configures and builds; prints only what went wrong.
build() {
  local folder=$1 options=()
  shift
  while [ $# -gt 0 ] && [ "$1" != --target ]; do
    options+=("$1")
    shift
  done
  local log
  log=$(mktemp)
  local launcher=()
  if command -v ccache >/dev/null; then launcher=(-DCMAKE_CXX_COMPILER_LAUNCHER=ccache); fi
  if ! { cmake -S . -B "$folder" -G Ninja "${launcher[@]}" "${options[@]}" && cmake --build "$folder" "$@"; } >"$log" 2>&1; then
    tail -n 60 "$log"
    rm -f "$log"
    echo "the build failed; the lines above say where" >&2
    return 1
  fi
  rm -f "$log"
}
