"""``python -m vinebook`` is the command line."""

from vinebook.cli import main

main()
