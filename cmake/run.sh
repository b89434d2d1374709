#!/usr/bin/env bash
# Installs what is missing, builds Release, puts the demo performance on the demo character, and says where the results are.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."
bash cmake/packages.sh
cmake --preset release -DUNDERSTUDY_TESTS=OFF -DUNDERSTUDY_BENCH=OFF -B build/run >/dev/null
cmake --build build/run -j2
mkdir -p out
cli=build/run/bin/understudy-cli
"$cli" map --performer samples/sweep.bvh --character samples/keeper.glb --out out/keeper.map.json
"$cli" retarget --performer samples/sweep.bvh --character samples/keeper.glb --map out/keeper.map.json --out out/keeper_plain.glb
"$cli" finish --performer samples/sweep.bvh --character samples/keeper.glb --map out/keeper.map.json --prop samples/broom.glb --lead right --out out/keeper
"$cli" sheet out/keeper/result.glb --out out/keeper.png
echo
echo "Done. The results are in $PWD/out:"
echo "  keeper/result.glb    the character's own file with the finished animation added"
echo "  keeper/report.html   what was found, repaired and left, with pictures"
echo "  keeper/result.reel   the take with every repair, for the editor and 'understudy-cli repair'"
echo "  keeper.png           a contact sheet of it"
echo "  keeper_plain.glb     the same performance as retargeted, without repairs"
echo "  keeper.map.json      the bone map"
if [ -n "${DISPLAY:-}${WAYLAND_DISPLAY:-}" ] && [ -x build/run/bin/understudy ] && [ "${1:-}" != "--no-editor" ]; then
  echo "Opening the editor."
  exec build/run/bin/understudy samples/sweep.bvh samples/keeper.glb
fi
echo "Editor: build/run/bin/understudy samples/sweep.bvh samples/keeper.glb   (needs a display)"
