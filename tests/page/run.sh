#!/usr/bin/env bash
# Tests of the built page: the core in node against the program, hostile files, the server, real browsers. Where the page is
# not built it says so and ends well: bash src/page/build.sh builds it. Ends with "N passed, N failed".
#   bash tests/page/run.sh           a few samples and the whole page in Chromium
#   bash tests/page/run.sh --slow    all samples, practice photos where they are, Firefox as well
set -eu
cd "$(dirname "$0")/../.."
if [ ! -e build-page/site/core.wasm ] || [ ! -x build/ripplegauge ]; then
  echo "the page is not built (bash src/page/build.sh): its tests are skipped"
  echo "0 passed, 0 failed"
  exit 0
fi
# shellcheck source=../../.ci/setup.sh
. .ci/setup.sh
install_packages nodejs chromium
slow=
if [ "${1:-}" = --slow ]; then slow=yes; fi
if [ -n "$slow" ]; then install_packages firefox-esr || true; fi # its tests say so where it is not there
[ -d tests/page/node_modules/puppeteer-core ] || (cd tests/page && npm ci --no-audit --no-fund --silent)

passed=0
failed=0
# run NAME COMMAND...: adds what its last line counts; a command that dies has failed once.
run() {
  local name=$1 out code=0 counts
  shift
  echo "== $name"
  out=$(mktemp)
  "$@" 2>&1 | tee "$out" || code=$?
  counts=$(grep -oE '^[0-9]+ passed, [0-9]+ failed' "$out" | tail -n 1)
  rm -f "$out"
  passed=$((passed + $(echo "${counts:-0 passed}" | cut -d' ' -f1)))
  failed=$((failed + $(echo "${counts:-0 passed, 1 failed}" | cut -d' ' -f3)))
}

samples=(samples/photos/{low-dark,crease,no-dent,refused-no-card,tagged-board}.jpg)
if [ -n "$slow" ]; then
  mapfile -t samples < <(ls samples/photos/*.jpg ../shared/practice/single/*.jpg ../shared/practice/hail/*.jpg 2>/dev/null)
fi
run "the core against the program" node tests/page/agree.cjs "${samples[@]}"
run "hostile files" node tests/page/hostile.cjs
run "the server" node tests/page/server.mjs
run "Chromium" node tests/page/browser.mjs ${slow:+--slow}
if [ -n "$slow" ]; then run "Firefox" node tests/page/browser.mjs --firefox; fi
echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ]
