#!/usr/bin/env bash
# Style and likely mistakes, over all sources or over those named. Ends with 0 when nothing is found.
#   bash .ci/lint.sh --style           format, line length, spelling of constants, glued statements: seconds; .ci/run does it
#   bash .ci/lint.sh                   and clang-tidy (.clang-tidy says which checks) and cppcheck: minutes
#   bash .ci/lint.sh src/photo/*.cpp   the same for these files
set -eu
cd "$(dirname "$0")/.."
# shellcheck source=setup.sh
. .ci/setup.sh
style_only=
if [ "${1:-}" = --style ]; then
  style_only=yes
  shift
fi
bad=0

install_packages clang-format python3
styled=("$@")
[ ${#styled[@]} -gt 0 ] || mapfile -t styled < <(find include src tests samples -name '*.[ch]pp' | sort)
printf '%s\n' "${styled[@]}" | xargs -n 40 clang-format --dry-run --Werror || bad=1
python3 .ci/style.py "${styled[@]}" || bad=1
if [ -n "$style_only" ]; then exit $bad; fi

install_packages clang-tidy cppcheck
build="${BUILD:-build-lint}"
cmake -S . -B "$build" -G Ninja >/dev/null
sources=("$@")
[ ${#sources[@]} -gt 0 ] || sources=(src/*/*.cpp)
printf '%s\n' "${sources[@]}" | xargs -P "$(nproc)" -n 4 nice clang-tidy -p "$build" --quiet \
  --extra-arg=-Wno-unknown-warning-option 2>/dev/null || bad=1
# Not checked: small structs handed over by value, which is meant; members that a constructor's body fills; the same
# value given to two variables. cppcheck 2.10 takes std::array<double, lags + 1> for one of `lags`.
nice cppcheck -q --std=c++20 --language=c++ --enable=warning,performance,portability --inline-suppr -I include -I src \
  --suppress=passedByValue --suppress=useInitializationList --suppress=duplicateAssignExpression \
  --suppress=containerOutOfBounds:src/stripes/residual_field.cpp --suppress='*:/usr/*' --error-exitcode=1 "${sources[@]}" || bad=1
exit $bad
