"""`python -m steadyturn`, and the program's script."""

import sys


def start() -> None:
    """Run the program; Ctrl-C while it is still being loaded ends it as quietly as later."""
    try:
        from steadyturn.cli.main import run

        run()
    except KeyboardInterrupt:
        sys.exit(1)


if __name__ == "__main__":
    start()
