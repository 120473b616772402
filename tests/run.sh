#!/usr/bin/env bash
# Installs what is missing, builds into build/ what is not built yet, runs all tests. Ends with a line "N passed, N failed"; fails if any failed.
#   bash tests/run.sh              the fast suite
#   bash tests/run.sh --slow       also the tests tagged [slow] (coverage studies, many renders)
#   bash tests/run.sh --sanitize   then what takes bytes or pixels once more with AddressSanitizer and UBSan; both count
set -eu
cd "$(dirname "$0")/.."
# shellcheck source=../.ci/setup.sh
. .ci/setup.sh

filter="~[slow]"
sanitize=
for option in "$@"; do
  case $option in
    --slow) filter="" ;;
    --sanitize) sanitize=yes ;;
    *)
      sed -n '2,5s/^# //p' "$0" >&2
      exit 2
      ;;
  esac
done
install_packages catch2 poppler-utils python3 nodejs ${sanitize:+clang}
passed=0
failed=0
results=$(mktemp -d)
trap 'rm -rf "$results"' EXIT

# run_one TEST_PROGRAM FILTER: its output, and in $results "PASSED FAILED".
run_one() {
  local xml code=0
  xml=$results/$(basename "$1").xml
  "$1" ${2:+"$2"} -r junit -o "$xml" >"$xml.out" 2>&1 || code=$?
  echo "== $1"
  cat "$xml.out"
  python3 - "$xml" "$code" <<'PY'
import sys, xml.etree.ElementTree as tree
passed = failed = 0
try:
    cases = list(tree.parse(sys.argv[1]).getroot().iter("testcase"))
    bad = [c for c in cases if c.find("failure") is not None or c.find("error") is not None]
    for c in bad:
        for f in c.findall("failure") + c.findall("error"):
            print(f"FAILED {c.get('name')}: {(f.text or f.get('message') or '').strip()}")
    passed, failed = len(cases) - len(bad), len(bad)
except (OSError, tree.ParseError) as error:
    print(f"FAILED: the test program died: {error}")
    failed = 1
# A sanitizer that finds a leak after the last test speaks through the exit code alone.
if sys.argv[2] != "0" and failed == 0:
    print(f"FAILED: the test program ended with {sys.argv[2]}")
    failed = 1
with open(sys.argv[1] + ".count", "w") as f:
    print(passed, failed, file=f)
PY
}
export -f run_one
export results

# run_suite FILTER TEST_PROGRAM...: as many at once as there are processors; adds to passed and failed.
run_suite() {
  local filter=$1 p f
  shift
  printf '%s\n' "$@" | xargs -P "$(nproc)" -I{} bash -c 'run_one "$1" "$2"' - {} "$filter" || failed=$((failed + 1))
  while read -r p f; do
    passed=$((passed + p))
    failed=$((failed + f))
  done < <(cat "$results"/*.count)
  rm "$results"/*
}

echo "building program and tests into build/ ..."
build build -DRIPPLEGAUGE_TESTS=ON
# The one that takes as long as all others together goes first.
mapfile -t tests < <(find build/tests -maxdepth 1 -name 'test_*' -type f -perm -u+x ! -name test_measure | sort)
run_suite "$filter" build/tests/test_measure "${tests[@]}"

# run_page COMMAND...: tests of the page, which count themselves in their last line. (`tee /dev/stderr` would empty a
# file that the whole run is written to.)
run_page() {
  local counts p f
  counts=$("$@" | tee >(cat >&2) | grep -oE '^[0-9]+ passed, [0-9]+ failed' | tail -n 1) || true
  read -r p _ f _ <<<"${counts:-0 passed, 1 failed}"
  passed=$((passed + p))
  failed=$((failed + f))
}
echo "== parts of the page"
run_page node tests/page/parts.mjs
if [ -z "$filter" ]; then run_page bash tests/page/run.sh --slow; fi

if [ -n "$sanitize" ]; then
  # What takes bytes or pixels, but whole readings, which are ten times as slow. Clang builds this faster than GCC, in less memory.
  tests=(fuzz_corpus dents relief stripes panel photo picture)
  export ASAN_OPTIONS="detect_stack_use_after_return=1:strict_string_checks=1"
  export UBSAN_OPTIONS="print_stacktrace=1"
  export LSAN_OPTIONS="suppressions=$PWD/tests/leaks.supp:print_suppressions=0"
  echo "building what takes bytes or pixels into build-sanitize/ ..."
  build build-sanitize -DRIPPLEGAUGE_TESTS=ON -DRIPPLEGAUGE_SANITIZE=ON -DCMAKE_CXX_COMPILER=clang++ \
    -DCMAKE_BUILD_TYPE=Sanitize -DCMAKE_CXX_FLAGS_SANITIZE="-O1 -gline-tables-only" --target "${tests[@]/#/test_}"
  # Packages are made of the other build; whole folders, the same photo many times over and more than one whole search
  # take too long here.
  run_suite "~[slow]~[install]~[folder]~[threads]~[search]" "${tests[@]/#/build-sanitize/tests/test_}"
fi
echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ] && [ "$passed" -gt 0 ]
