#!/usr/bin/env bash
# Makes the README's two pictures from a finished build (cmake/run.sh) and the demo files.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."
bin=${1:-build/run/bin}
mkdir -p resources/pictures out
"$bin/understudy-cli" finish --performer samples/sweep.bvh --character samples/keeper.glb --prop samples/broom.glb --lead right --out out/pictures --no-pictures --quiet
"$bin/understudy-cli" sheet out/pictures/result.glb --out resources/pictures/sheet.png
xvfb-run -a -s "-screen 0 1600x1000x24" "$bin/understudy" --screenshot resources/pictures/editor.png --size 1440x900 --frame 196 out/pictures/result.reel
