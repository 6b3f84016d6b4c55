"""``python -m cutcheck`` is the command ``cutcheck``."""

from cutcheck.cli import main

if __name__ == "__main__":
    main()
