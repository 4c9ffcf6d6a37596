"""`python -m jointrisk` is the command `jointrisk`."""

from jointrisk.cli.app import main

if __name__ == "__main__":
    main()
