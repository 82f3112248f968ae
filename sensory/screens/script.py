"""What the server runs for each visitor; by full names, since a script is no part of a package."""

from sensory.screens.app import main

if __name__ == "__main__":  # not in the worker process, which imports this file
    main()
