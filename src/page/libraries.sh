#!/usr/bin/env bash
# The libraries that the core stands on, as WebAssembly, built once from Debian's source packages and kept in the user's
# cache (half an hour on one processor). Prints the folder where they are; progress goes to standard error.
#   libraries.sh [PROCESSORS]
set -eu
here=$(cd "$(dirname "$0")" && pwd)
processors=${1:-$(nproc)}
cache=${XDG_CACHE_HOME:-$HOME/.cache}/ripplegauge/page

# Another recipe or another compiler: another folder.
recipe=$(cat "$here"/libraries/* <(emcc --version) | sha256sum | cut -c1-12)
made=$cache/libraries-$recipe
if [ -e "$made/complete" ]; then
  echo "$made"
  exit 0
fi
mkdir -p "$cache" "$made"
exec 9>"$cache/lock"
flock 9

# With lists of our own: the machine's own lists of sources stay as they are.
fetch_sources() {
  local codename apt
  codename=$(. /etc/os-release && echo "$VERSION_CODENAME")
  mkdir -p "$cache/apt/lists/partial" "$cache/apt/archives/partial" "$cache/sources"
  echo "deb-src http://deb.debian.org/debian $codename main" >"$cache/apt/sources.list"
  apt=(apt-get -qq -o "Dir::Etc::sourcelist=$cache/apt/sources.list" -o Dir::Etc::sourceparts=/dev/null
    -o "Dir::State::lists=$cache/apt/lists" -o "Dir::Cache=$cache/apt" -o APT::Sandbox::User=root)
  "${apt[@]}" update
  (cd "$cache/sources" && rm -rf ./* && "${apt[@]}" source zlib libjpeg-turbo opencv >/dev/null)
  touch "$cache/sources/complete"
}
if [ ! -e "$cache/sources/complete" ]; then
  echo "fetching the sources of OpenCV, libjpeg-turbo and zlib (140 MB) ..." >&2
  fetch_sources
fi

echo "building OpenCV, libjpeg-turbo and zlib for WebAssembly: 15 to 30 minutes, once ..." >&2
export NODE_PATH=/usr/share/nodejs  # without it optimised links do not find acorn
log=$made/build.log
emcmake cmake -S "$here/libraries" -B "$made/work" -G Ninja -DCMAKE_BUILD_TYPE=None "-DSOURCES=$cache/sources" \
  "-DCMAKE_INSTALL_PREFIX=$made" >"$log" 2>&1 || { tail -n 20 "$log" >&2; exit 1; }
# shellcheck source=../../.ci/setup.sh
. "$here/../../.ci/setup.sh"
(set -o pipefail && ninja -C "$made/work" -j"$processors" 2>&1 | show_steps "$log" >&2) || { tail -n 40 "$log" >&2; exit 1; }
cmake --install "$made/work" >>"$log"
rm -rf "$made/work"
touch "$made/complete"
echo "$made"
