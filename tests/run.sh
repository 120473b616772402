#!/usr/bin/env bash
# Installs what is missing, builds, runs all tests. Ends with a line "N passed, N failed"; fails if any failed.
#   bash tests/run.sh          the fast suite
#   bash tests/run.sh --slow   also the tests tagged [slow] (coverage studies, many renders)
set -eu
cd "$(dirname "$0")/.."
# shellcheck source=../.ci/setup.sh
. .ci/setup.sh
install_packages poppler-utils python3
build build-tests -DRIPPLEGAUGE_TESTS=ON -DRIPPLEGAUGE_WERROR="${CI:+ON}"

filter=("~[slow]")
[ "${1:-}" = --slow ] && filter=()
passed=0
failed=0
for test in build-tests/tests/test_*; do
  [ -x "$test" ] && [ -f "$test" ] || continue
  echo "== $(basename "$test")"
  xml=$(mktemp)
  "$test" "${filter[@]}" -r junit -o "$xml" || true
  counts=$(python3 - "$xml" <<'PY'
import sys, xml.etree.ElementTree as tree
try:
    cases = list(tree.parse(sys.argv[1]).getroot().iter("testcase"))
    bad = [c for c in cases if c.find("failure") is not None or c.find("error") is not None]
    for c in bad:
        for f in c.findall("failure") + c.findall("error"):
            print(f"FAILED {c.get('name')}: {(f.text or f.get('message') or '').strip()}", file=sys.stderr)
    print(len(cases) - len(bad), len(bad))
except tree.ParseError as error:
    print(f"the test program died: {error}", file=sys.stderr)
    print(0, 1)
PY
)
  rm -f "$xml"
  read -r p f <<<"$counts"
  passed=$((passed + p))
  failed=$((failed + f))
done
echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ] && [ "$passed" -gt 0 ]
