"""Entry of the front end in a checkout, for ``streamlit run app.py``."""

from sensory.screens.app import main

if __name__ == "__main__":  # not in the worker process, which imports this file
    main()
