"""``python -m vinebook`` is the command line."""

from vinebook.cli import main

if __name__ == "__main__":
    main()
