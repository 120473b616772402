#!/usr/bin/env bash
# Builds the fuzzer (Clang) and runs each target, or those named, over a number of inputs, as many at once as there
# are processors; stops at the first finding.
#   bash tests/fuzz/run.sh                          ten million inputs each, or an hour
#   bash tests/fuzz/run.sh --runs 20000 board job   these two, shorter
#   bash tests/fuzz/run.sh --minutes 5 --jobs 1     all, five minutes each, one at a time
# New inputs gather in build-fuzz/corpus/NAME; a finding is left in build-fuzz/findings. Once mended, it goes into
# tests/fuzz/corpus/NAME, where every test run replays it.
set -eu
cd "$(dirname "$0")/../.."
# shellcheck source=../../.ci/setup.sh
. .ci/setup.sh
install_packages clang
runs=10000000
minutes=60
jobs=$(nproc)
while [[ "${1:-}" = --* ]]; do
  case $1 in
    --runs) runs=$2 ;;
    --minutes) minutes=$2 ;;
    --jobs) jobs=$2 ;;
    *)
      sed -n '2,8s/^# //p' "$0" >&2
      exit 2
      ;;
  esac
  shift 2
done
build="${BUILD:-build-fuzz}"
launcher=()
if command -v ccache >/dev/null; then launcher=(-DCMAKE_CXX_COMPILER_LAUNCHER=ccache); fi
cmake -S . -B "$build" -G Ninja -DCMAKE_CXX_COMPILER=clang++ -DCMAKE_BUILD_TYPE=Fuzz -DCMAKE_CXX_FLAGS_FUZZ="-O1 -gline-tables-only" \
  -DRIPPLEGAUGE_FUZZ=ON "${launcher[@]}" >/dev/null
cmake --build "$build" --target ripplegauge_fuzz >/dev/null
targets=("$@")
if [ ${#targets[@]} -eq 0 ]; then
  for folder in tests/fuzz/corpus/*; do targets+=("$(basename "$folder")"); done
fi
mkdir -p "$build/findings"

# fuzz TARGET: one line with what was run, or the end of its log and the exit code that stops the others.
fuzz() {
  local target=$1 seeds=tests/fuzz/corpus/$1 found=$build/corpus/$1 log=$build/$1.log longest
  mkdir -p "$found"
  # The words that the seeds are made of: keys, choices, column names.
  grep -aohE '[A-Za-z_][A-Za-z_0-9-]{2,30}' "$seeds"/* | sort -u | sed 's/.*/"&"/' >"$build/$target.dict" || true
  [ -s "$build/$target.dict" ] || echo '"Exif"' >"$build/$target.dict"
  # By the clock, so that a busy machine is no finding: targets that must be quick look at the processor's time.
  local longest_s=300
  # Long inputs are slow and find nothing that short ones do not.
  longest=$(find "$seeds" -type f -printf '%s\n' | sort -n | tail -1)
  if ! RIPPLEGAUGE_FUZZ_TARGET=$target ASAN_OPTIONS=detect_leaks=1:allocator_may_return_null=1 \
    LSAN_OPTIONS=suppressions=tests/leaks.supp:print_suppressions=0 \
    nice -n 19 "$build/tests/ripplegauge_fuzz" -runs="$runs" -max_len=$((longest + longest / 4 + 64)) -timeout=$longest_s -max_total_time=$((60 * minutes)) \
    -rss_limit_mb=1500 -dict="$build/$target.dict" -artifact_prefix="$build/findings/$target-" -print_final_stats=1 \
    -verbosity=0 "$found" "$seeds" 2>"$log"; then
    tail -n 60 "$log"
    echo "$target: a finding, see $build/findings and $log"
    return 255
  fi
  awk -v target="$target" -v minutes="$(((SECONDS + 30) / 60))" '/number_of_executed_units/ { n = $2 }
    /average_exec_per_sec/ { s = $2 }
    END { printf "%-14s %9d inputs, %d a second, %d minutes\n", target, n, s, minutes }' "$log"
}
export -f fuzz
export build runs minutes
printf '%s\n' "${targets[@]}" | xargs -P "$jobs" -I{} bash -c 'fuzz {}'
