"""`python -m wayrule` is the command `wayrule`."""

from wayrule.cli.main import main

if __name__ == "__main__":
    main()
