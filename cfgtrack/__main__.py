"""`python -m cfgtrack` is the `cfgtrack` command."""

from cfgtrack.cli.main import main

if __name__ == "__main__":
    main()
