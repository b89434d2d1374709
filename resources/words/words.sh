#!/usr/bin/env bash
# Makes words.txt from the program as it is built: every command, key, label and option, to be read through.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/../.."
build=${1:-build/release}
[ -f resources/words/words.txt ] || : > resources/words/words.txt
UNDERSTUDY_WORDS="$PWD/resources/words/words.txt" xvfb-run -a -s "-screen 0 1600x1000x24" "$build/bin/test-editor" --gtest_filter='EditorWordList.TheListOfAllWordsIsCurrent'
