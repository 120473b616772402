#!/usr/bin/env bash
# Clang-tidy (.clang-tidy says which checks) and cppcheck over all sources, or over those named:
#   bash .ci/lint.sh
#   bash .ci/lint.sh src/photo/*.cpp
# Takes minutes, so it is no part of every run. Ends with 0 when both find nothing.
set -eu
cd "$(dirname "$0")/.."
# shellcheck source=setup.sh
. .ci/setup.sh
install_packages clang-tidy cppcheck
build="${BUILD:-build-lint}"
cmake -S . -B "$build" -G Ninja >/dev/null
sources=("$@")
[ ${#sources[@]} -gt 0 ] || sources=(src/*/*.cpp)
bad=0
printf '%s\n' "${sources[@]}" | xargs -P "$(nproc)" -n 4 nice clang-tidy -p "$build" --quiet \
  --extra-arg=-Wno-unknown-warning-option 2>/dev/null || bad=1
# Not checked: small structs handed over by value, which is meant; members that a constructor's body fills; the same
# value given to two variables. cppcheck 2.10 takes std::array<double, lags + 1> for one of `lags`.
nice cppcheck -q --std=c++20 --language=c++ --enable=warning,performance,portability --inline-suppr -I include -I src \
  --suppress=passedByValue --suppress=useInitializationList --suppress=duplicateAssignExpression \
  --suppress=containerOutOfBounds:src/stripes/residual_field.cpp --suppress='*:/usr/*' --error-exitcode=1 "${sources[@]}" || bad=1
exit $bad
