"""`python -m server` is the command `putback`."""

from server.cli import app

if __name__ == "__main__":
    app()
