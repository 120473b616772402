#!/usr/bin/env bash
# Installs what is missing, builds the program into build/, measures a sample photo and prints reading and plan.
#   bash samples/demo.sh
set -eu
cd "$(dirname "$0")/.."
# shellcheck source=../.ci/setup.sh
. .ci/setup.sh
install_packages
echo "building the program into build/ (a few minutes on two processors) ..."
first=()
configured build || first=(-DCMAKE_BUILD_TYPE=Release -DRIPPLEGAUGE_TESTS=OFF)
build build "${first[@]}" --target ripplegauge_program
program=build/ripplegauge
out=build/demo
mkdir -p "$out"

# The values that the technician of our invented workshop wrote down for each photo: see samples/README.md.
show() {
  echo
  echo "\$ ripplegauge measure $*"
  local code=0
  "$program" measure "$@" || code=$?
  if [ "$code" -ne 0 ] && [ "$code" -ne 3 ]; then return "$code"; fi
}

echo
echo "== One low on dark paint, and what to do about it"
show samples/photos/low-dark.jpg --board-pitch 14 --board-distance 288 --bar-length 98.4 \
  --json "$out/low-dark.json" --picture "$out/low-dark.png"
echo
echo "the photo with the dent drawn in: $out/low-dark.png"

echo
echo "== A photo that cannot be measured: the card was forgotten"
show samples/photos/refused-no-card.jpg --board-pitch 14 --board-distance 288 --bar-length 98.4 --no-plan
