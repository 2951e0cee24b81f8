"""``python -m accuracy``: the same as the ``accuracy`` command."""

from accuracy.cli import main

if __name__ == "__main__":
    main()
