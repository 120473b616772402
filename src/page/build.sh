#!/usr/bin/env bash
# Builds the page into build-page/site: installs what is missing on a Debian machine, makes the libraries (once, kept in
# the user's cache), the core, and the sheets to print. The first time takes 20 to 40 minutes on two processors, later
# ones as long as what has changed.
#   bash src/page/build.sh             then: build/ripplegauge page
set -eu
cd "$(dirname "$0")/../.."
# shellcheck source=../../.ci/setup.sh
. .ci/setup.sh
install_packages emscripten nodejs dpkg-dev brotli librsvg2-bin bc
out=build-page
site=$out/site
mkdir -p "$out"

# Under one name, so that another place of the cache does not compile the core anew.
made=$(bash src/page/libraries.sh)
libraries=$PWD/$out/libraries
ln -sfn "$made" "$libraries"

echo "building the core for WebAssembly ..."
export NODE_PATH=/usr/share/nodejs
log=$out/core.log
emcmake cmake -S src/page/core -B "$out/core" -G Ninja -DCMAKE_BUILD_TYPE=None "-DPAGE_LIBRARIES=$libraries" >"$log" 2>&1 ||
  { tail -n 20 "$log"; exit 1; }
(set -o pipefail && ninja -C "$out/core" 2>&1 | show_steps "$log") || { tail -n 40 "$log"; exit 1; }

echo "building the program, which makes the sheets to print ..."
first=()
configured build || first=(-DCMAKE_BUILD_TYPE=Release -DRIPPLEGAUGE_TESTS=OFF)
build build "${first[@]}" --target ripplegauge_program
sheets=$out/sheets
mkdir -p "$sheets"
program=build/ripplegauge
for paper in a4 letter; do "$program" sheet card --paper $paper --out "$sheets/card-$paper.pdf" >/dev/null; done
board() {  # NAME OPTION... : the sheet and its file
  local name=$1
  shift
  "$program" sheet board --tags "$@" --out "$sheets/board-$name.pdf" --board-file "$sheets/board-$name.json" >/dev/null
}
board a4 --paper a4 --tile 1x2
board a4-small --paper a4
board letter --paper letter --tile 1x2
board a3 --paper a3

# Whole or not at all: a server may be showing the folder.
new=$out/site.new
rm -rf "$new"
cp -r src/page/site "$new"
rm "$new/package.json" # for node alone
cp "$out/core/core.js" "$out/core/core.wasm" samples/pictures/set-up.png "$new/"
cp -r "$sheets" "$new/sheets"
for size in 180 512; do rsvg-convert -w $size -h $size src/page/site/icon.svg -o "$new/icon-$size.png"; done
files=$(cd "$new" && find . -type f ! -name service_worker.js -printf '%P\n' | sort)
version=$(cd "$new" && echo "$files" | xargs cat index.html | sha256sum | cut -c1-16) # index.html is './', too
list=$(echo "$files" | sed "s/.*/'&'/" | paste -sd,)
sed -i "s|'VERSION'|'$version'|; s|'FILES'|'./',$list|" "$new/service_worker.js"
rm -rf "$site.old"
if [ -e "$site" ]; then mv "$site" "$site.old"; fi
mv "$new" "$site"
rm -rf "$site.old"

packed=$(cd "$site" && for file in core.js core.wasm ./*.html ./*.css ./*.js; do echo "$file"; done | sort -u | while read -r file; do brotli -c "$file" | wc -c; done | paste -sd+ | bc)
echo "built $site: $((packed / 1000)) kB compressed (page and core); show it with: $program page"
