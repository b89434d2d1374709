#!/usr/bin/env bash
# Makes the pictures of the help pages from the program itself: bash resources/help/pictures.sh [BUILD]. Needs Xvfb and test-editor.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/../.."
tests=$(realpath "${1:-build/release}/bin/test-editor")
export UNDERSTUDY_PICTURES=$PWD/resources/help/pictures
xvfb-run -a -s "-screen 0 1600x1000x24" "$tests" --gtest_filter='EditorHelpPictures.*' || true
ls -l "$UNDERSTUDY_PICTURES"
