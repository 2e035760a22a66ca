#!/usr/bin/env bash
# The demo, on a machine with nothing of ours: makes tallies, a book of them, a table of figures and a PDF of every block.
#   bash demo/run.sh [FOLDER]     FOLDER takes the results; demo/out, which git ignores, if none is named
# It installs what is missing, and says what it installs. Environment of Python packages: .venv, ignored by git.
set -euo pipefail
here=$PWD
cd "$(dirname "$0")/.."
. tests/setup.sh

out=demo/out
if [ $# -gt 0 ]; then
  case $1 in /*) out=$1 ;; *) out=$here/$1 ;; esac
fi

choose_python
install_packages "${PRINTING_PACKAGES[@]}"
make_environment tests/runtime.lock
bin=$ENVIRONMENT/bin
export VINEBOOK_BOOK=$out/demo.db VINEBOOK_BY=demo

mkdir -p "$out"
rm -rf "$out/tallies" "$out/package" "$out"/demo.db* "$out"/again.db* "$out"/*.pdf
say "making the tallies of an invented vineyard"
"$bin/python" -m demo.generate "$out/tallies"

say "making the book: the tallies year by year, and the decisions of each winter on what stood then"
"$bin/vinebook" new
"$bin/python" -m demo.decide "$VINEBOOK_BOOK" "$out/tallies"

say "figures of Kiln Field (V2): a season that is complete, and one that waits for its wood"
"$bin/vinebook" figures V2 --season 2024 --season 2026

say "what was decided for Kiln Field (V2) for 2024, on what, and what came of it"
"$bin/vinebook" trail V2 --season 2024

say "printing the history of every block, side by side over the cores, and one in US units on Letter"
"$bin/vinebook" report history --all -o "$out"
"$bin/vinebook" --units us report history V2 --paper letter -o "$out/V2-letter-us.pdf"

say "printing what a winery is handed, what an auditor is handed, and what a manager looks at"
"$bin/vinebook" report statement --to "Orvasket Cellars" --season 2024 --share 60 -o "$out/statement.pdf"
"$bin/vinebook" report trail V1 V2 --bound -o "$out/trails.pdf"
"$bin/vinebook" report overview --season 2025 -o "$out/overview.pdf"

say "printing what goes into the row: a sheet of drawn vines, and the pruning crew's cards in Spanish"
"$bin/vinebook" report sheet V2/2027/1 -o "$out/sheet.pdf"
"$bin/vinebook" report card --all --season 2027 --language es --bound -o "$out/cards.pdf"

say "the whole book as a data package, and a second book made from it: the same seal"
"$bin/vinebook" export "$out/package"
"$bin/vinebook" --book "$out/again.db" import "$out/package"

"$bin/vinebook" verify
say "the book is $VINEBOOK_BOOK, its tallies are in $out/tallies, its package in $out/package, and these are the PDFs:"
ls "$out"/*.pdf
