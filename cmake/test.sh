#!/usr/bin/env bash
# Installs what is missing, builds, and passes the tests, tier by tier. --quick: unit, property, reference, io only.
# --all: adds the editor under sanitizers and the thread sanitizer on core. The last line counts everything.
set -uo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."
mode=${1:-}
passed=0; failed=0; skipped=0
begin=$(date +%s)

elapsed() { echo "    $1: $(( $(date +%s) - $2 )) s"; }

# run NAME BUILD-DIR LABEL-REGEX [ctest options]
run() {
  local name=$1 dir=$2 label=$3 start; shift 3
  start=$(date +%s)
  local report="$PWD/$dir/report-${name//[^a-z]/_}.xml"
  rm -f "$report"
  echo "== $name"
  ctest --test-dir "$dir" -L "$label" --output-on-failure --output-junit "$report" "$@" 2>&1 | grep -vE '^ *[0-9]+/[0-9]+ Test .*Passed|^ +Start +[0-9]+:'
  if [ ! -s "$report" ]; then failed=$((failed + 1)); elapsed "$name (no result)" "$start"; return; fi
  local head; head=$(head -c 2000 "$report")
  local total bad skip
  total=$(sed -n 's/.* tests="\([0-9]*\)".*/\1/p;s/^[[:space:]]*tests="\([0-9]*\)".*/\1/p' <<<"$head" | head -1)
  bad=$(sed -n 's/.*failures="\([0-9]*\)".*/\1/p' <<<"$head" | head -1)
  skip=$(sed -n 's/.*skipped="\([0-9]*\)".*/\1/p' <<<"$head" | head -1)
  passed=$((passed + ${total:-0} - ${bad:-0} - ${skip:-0})); failed=$((failed + ${bad:-0})); skipped=$((skipped + ${skip:-0}))
  elapsed "$name (${total:-0} tests, ${skip:-0} skipped)" "$start"
}

build() {
  local preset=$1 start; start=$(date +%s)
  echo "== build $preset"
  cmake --preset "$preset" >/dev/null && cmake --build --preset "$preset" 2>&1 | grep -E "error|warning:|FAILED" -A6
  [ "${PIPESTATUS[0]}" -eq 0 ] || { echo "The $preset build failed."; echo "$passed passed, $((failed + 1)) failed, $skipped skipped"; exit 1; }
  elapsed "build $preset" "$start"
}

start=$(date +%s); bash cmake/packages.sh || exit 1; elapsed packages "$start"
build release
run fast build/release '^(unit|property|reference)$' -j2
run io build/release '^(robust|command)$' -j2
if [ "$mode" != "--quick" ]; then
  run corpus build/release '^corpus$' -j2
  if [ -d tests/outside ]; then
    start=$(date +%s)
    echo "== outside"
    if bash tests/outside/run.sh build/release/bin > build/outside.txt 2>&1; then :; fi
    cat build/outside.txt
    p=$(grep -c '^ok ' build/outside.txt); f=$(grep -c '^not ok ' build/outside.txt); s=$(grep -c '^skip ' build/outside.txt)
    grep -q '^outside: finished' build/outside.txt || f=$((f + 1))
    passed=$((passed + p)); failed=$((failed + f)); skipped=$((skipped + s))
    elapsed "outside ($p passed, $s skipped)" "$start"
  fi
  LP_NUM_THREADS=1 run gui build/release '^editor$' -j1
  build asan
  ASAN_OPTIONS=detect_leaks=1 run asan build/asan '^(unit|property|reference|robust)$' -j2
fi
if [ "$mode" = "--all" ]; then
  build tsan
  run tsan build/tsan '^(unit|property)$' -j1
fi
elapsed "everything" "$begin"
[ "$skipped" -eq 0 ] || echo "$skipped tests were skipped: what they need (the open corpus, npm) was not there."
echo "$passed passed, $failed failed, $skipped skipped"
[ "$failed" -eq 0 ]
