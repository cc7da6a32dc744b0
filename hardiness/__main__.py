"""``python -m hardiness``: the command line, where the program itself is not on the path."""

from __future__ import annotations

from hardiness.cli import main

if __name__ == "__main__":
    main(prog_name="hardiness")
