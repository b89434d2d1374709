#!/usr/bin/env bash
# Prints how good exported results are, one line a pair, judged by understudy-checker.
# Usage: table.sh BUILD-FOLDER CORPUS [retarget|finish] [PERFORMER-PATTERN [CHARACTER-PATTERN]]
# Patterns are parts of file names; the demo is performer 'sweep', character 'keeper'. KEEP=FOLDER keeps the files.
# With finish, feet are judged while the take's plants hold them (retarget: in stances found by a plain rule or labelled), and the columns arms' and legs' tell how far the limbs are turned from the plain retarget.
# touch: of the frames in which the performer touches itself (by a plain rule on its skeleton; where the checker cannot read the performer, by
# the take's touches, taken back ones as well), the part in which the character's hand is at most 5 mm off the touched skin and at most 2 mm in it.
set -uo pipefail
build=$(cd "$1" && pwd); corpus=$2; what=${3:-retarget}; performers=${4:-}; characters=${5:-}
here=$(cd "$(dirname "${BASH_SOURCE[0]}")" && pwd)
samples="$here/../../samples"
work=${KEEP:-$(mktemp -d)}; mkdir -p "$work"
[ -n "${KEEP:-}" ] || trap 'rm -rf "$work"' EXIT
cli="$build/bin/understudy-cli"; checker="$build/bin/understudy-checker"

judge() {  # PERFORMER CHARACTER NAME map options of the checker...
  local performer=$1 character=$2 name=$3; shift 3
  local plain="$work/$name.plain.glb" result
  "$cli" retarget --performer "$performer" --character "$character" --out "$plain" --no-check --quiet >/dev/null 2>"$work/$name.log" ||
    { printf '%-46s retarget failed: %s\n' "$name" "$(tail -1 "$work/$name.log")"; return; }
  if [ "$what" = finish ]; then
    mkdir -p "$work/$name"
    "$cli" finish --performer "$performer" --character "$character" --out "$work/$name" --no-pictures --quiet >/dev/null 2>"$work/$name.log" ||
      { printf '%-46s finish failed: %s\n' "$name" "$(tail -1 "$work/$name.log")"; return; }
    result="$work/$name/result.glb"
    set -- --reference "$plain" --plants "$work/$name/result.reel" "$@"
  else
    result="$plain"
  fi
  [ -z "${KEEP:-}" ] || "$checker" --result "$result" --performer "$performer" "$@" > "$work/$name.json"
  "$checker" --result "$result" --performer "$performer" "$@" --line "$name"
}

"$checker" --line ""
shopt -s nullglob
if [[ "sweep" == *"$performers"* && "keeper" == *"$characters"* ]]; then
  "$cli" map --performer "$samples/sweep.bvh" --character "$samples/keeper.glb" --out "$work/keeper.map.json" --quiet >/dev/null
  judge "$samples/sweep.bvh" "$samples/keeper.glb" sweep-on-keeper --map "$work/keeper.map.json" --truth "$samples/truth.json"
fi
for performer in "$corpus"/motion/*.{bvh,fbx}; do
  p=$(basename "$performer")
  [[ "$p" == *"$performers"* ]] || continue
  for character in "$corpus"/characters/*; do
    c=$(basename "$character")
    [[ "$c" == *"$characters"* ]] || continue
    options=(--performer-roles "$corpus/roles/$p.roles.json" --character-roles "$corpus/roles/$c.roles.json")
    labels="${performer%.bvh}_contact.csv"; labels="${labels/_lowerbody/}"
    [ ! -f "$labels" ] || options+=(--labels "$labels")
    judge "$performer" "$character" "${p%.*}-on-${c%.*}" "${options[@]}"
  done
done
