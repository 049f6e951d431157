"""`python -m backprobe`, for where the command itself is not on the path."""

from backprobe.cli.main import run

if __name__ == "__main__":
    run()
