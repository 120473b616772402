#!/usr/bin/env bash
# The figures of src/guide/performance.md, all in one run on one machine, medians of several.
#   bash tests/bench/ratios.sh            builds into build/, makes the photos once (into build/bench-photos)
#   RUNS=21 bash tests/bench/ratios.sh    more runs a figure
# Times are of whole processes. Nothing else should be running. Half an hour, most of it the folder of 500.
set -eu
cd "$(dirname "$0")/../.."
# shellcheck source=../../.ci/setup.sh
. .ci/setup.sh
install_packages libjpeg-turbo-progs povray python3-opencv time
build "${BUILD:-build}" -DCMAKE_BUILD_TYPE=Release
program=${BUILD:-build}/ripplegauge
photos=${PHOTOS:-build/bench-photos}
runs=${RUNS:-7}
for photo in one-12mp one-48mp eight-12mp; do
  if [ ! -e "$photos/$photo.jpg" ]; then
    echo "making the photos in $photos (a quarter of an hour, once) ..."
    /usr/bin/python3 tests/bench/make_photos.py "$photos"
  fi
done
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT

median() { sort -n | awk '{ v[NR] = $1 } END { print NR % 2 ? v[(NR + 1) / 2] : (v[NR / 2] + v[NR / 2 + 1]) / 2 }'; }

# wall COMMAND... : seconds. peak COMMAND... : megabytes. The program's refusals (exit code 3) are none of this script's business.
wall() {
  local start end
  start=$(date +%s%N)
  "$@" >/dev/null 2>"$work/err" || { [ $? -eq 3 ] || { cat "$work/err" >&2; exit 1; }; }
  end=$(date +%s%N)
  awk "BEGIN { print ($end - $start) / 1e9 }"
}
median_wall() { for _ in $(seq "$runs"); do wall "$@"; done | median; }
peak() { command time -f %M -o "$work/kb" "$@" >/dev/null 2>&1 || true; awk '{ m = $1 } END { printf "%.0f", m / 1024 }' "$work/kb"; }
over() { awk "BEGIN { printf \"%.${3:-1}f\", $1 / $2 }"; }
ms() { awk "BEGIN { printf \"%.0f ms\", 1000 * $1 }"; }

given() {  # PHOTO without its ending: its options
  python3 - "$1.json" <<'PY'
import json, sys
g = json.load(open(sys.argv[1]))["given"]
print("--board-pitch", g["board_pitch_mm"], "--board-distance", g["board_distance_mm"], "--bar-length", g["check_bar_mm"])
PY
}
read -ra one <<<"$(given "$photos/one-12mp")"
read -ra eight <<<"$(given "$photos/eight-12mp")"
read -ra flat <<<"$(given samples/photos/no-dent)"

echo "machine: $(awk -F': ' '/model name/ { print $2; exit }' /proc/cpuinfo), $(nproc) processors, load $(cut -d' ' -f1 /proc/loadavg) before"
echo "medians of $runs"
djpeg=$(median_wall djpeg -grayscale -outfile /dev/null "$photos/one-12mp.jpg")
reading=$(median_wall "$program" measure "$photos/one-12mp.jpg" "${one[@]}" --json "$work/r.json")
echo "one dent, 12 MP:    $(ms "$reading"), $(over "$reading" "$djpeg") x djpeg ($(ms "$djpeg"))      goal: 10"
djpeg=$(median_wall djpeg -grayscale -outfile /dev/null "$photos/eight-12mp.jpg")
reading=$(median_wall "$program" measure "$photos/eight-12mp.jpg" "${eight[@]}" --json "$work/r.json")
found=$(python3 -c "import json, sys; print(len(json.load(open(sys.argv[1]))['dents']))" "$work/r.json")
echo "eight dents, 12 MP: $(ms "$reading"), $(over "$reading" "$djpeg") x djpeg ($(ms "$djpeg")), $found found      goal: 15"
echo "start-up:           $(ms "$(median_wall "$program" --version)")      goal: 30 ms"
echo "peak memory 12 MP:  $(peak "$program" measure "$photos/one-12mp.jpg" "${one[@]}" --json "$work/r.json") MB      goal: 120"
echo "peak memory 48 MP:  $(peak "$program" measure "$photos/one-48mp.jpg" "${one[@]}" --json "$work/r.json") MB      goal: 240"

# Photos of one place against as many single readings. The same photo in other bytes takes every step that
# another one of the place would take; VIEWS names a folder of true ones, all with the options in VIEW_OPTIONS.
views=()
if [ -n "${VIEWS:-}" ]; then
  views=("$VIEWS"/*.jpg)
  read -ra of_views <<<"${VIEW_OPTIONS:-}"
else
  of_views=("${one[@]}")
  for i in 1 2 3 4 5; do
    cp "$photos/one-12mp.jpg" "$work/view-$i.jpg"
    echo "$i" >>"$work/view-$i.jpg"
    views+=("$work/view-$i.jpg")
  done
fi
alone=$(peak "$program" measure "${views[0]}" "${of_views[@]}")
for n in 2 3 5; do
  [ "$n" -le "${#views[@]}" ] || continue
  single=$(median_wall "$program" measure "${views[@]:0:n}" "${of_views[@]}")
  joint=$(median_wall "$program" measure "${views[@]:0:n}" "${of_views[@]}" --together)
  held=$(peak "$program" measure "${views[@]:0:n}" "${of_views[@]}" --together)
  echo "$n photos together:  $(ms "$joint"), $(over "$joint" "$single" 2) x as many singles ($(ms "$single"))      goal: 1.5"
  echo "                    $held MB, $(over $((held - alone)) $((n - 1)) 0) MB a further photo      goal: 25"
done

# A folder of eight photos that differ in their bytes alone: the same photo twice would be measured once.
mkdir "$work/folder"
for i in 1 2 3 4 5 6 7 8; do
  cp "$photos/one-12mp.jpg" "$work/folder/bonnet-$i.jpg"
  echo "$i" >>"$work/folder/bonnet-$i.jpg"
done
folder() { median_wall "$program" measure "$work/folder" "${one[@]}" --threads "$1" --no-pictures; }
single=$(runs=3 folder 1)
double=$(runs=3 folder 2)
echo "a folder of 8:      one thread $(ms "$single"), two $(ms "$double"): $(over "$single" "$double" 2) x      goal: 1.8"
for count in 50 500; do
  mkdir "$work/batch$count"
  for i in $(seq "$count"); do
    cp samples/photos/no-dent.jpg "$work/batch$count/bonnet-$i.jpg"
    echo "$i" >>"$work/batch$count/bonnet-$i.jpg"
  done
  echo "peak memory of $count photos of 5 MP, two threads: $(peak "$program" measure "$work/batch$count" "${flat[@]}" --threads 2 --no-pictures --job "$work/batch$count.json") MB"
  rm -r "$work/batch$count"
done
