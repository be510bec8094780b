"""``python -m linewright`` is the command ``linewright``."""

from linewright.cli import main

if __name__ == "__main__":
    main(prog_name="linewright")
