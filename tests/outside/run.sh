#!/usr/bin/env bash
# Installs the independent programs (npm: three.js, the Khronos glTF validator) and runs the checks. Usage: run.sh BIN-FOLDER
set -uo pipefail
bin=$(cd "$1" && pwd)
here=$(cd "$(dirname "${BASH_SOURCE[0]}")" && pwd)
project=$(cd "$here/../.." && pwd)
if ! command -v npm >/dev/null; then
  sudo=""; [ "$(id -u)" -eq 0 ] || sudo=sudo
  $sudo apt-get install -y -qq --no-install-recommends nodejs npm >/dev/null 2>&1
fi
work="$project/build/outside"
mkdir -p "$work"
cp "$here"/*.mjs "$here"/package*.json "$work/"
cd "$work"
if ! npm ci --no-audit --no-fund --silent; then
  echo "skip outside checks: npm packages could not be installed"
  echo "outside: finished"
  exit 0
fi
node checks.mjs "$bin" "$project" "${UNDERSTUDY_CORPUS:-$project/../shared/corpus}" "$work/files"
