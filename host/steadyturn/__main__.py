"""`python -m steadyturn`"""

from steadyturn.cli.main import run

if __name__ == "__main__":
    run()
