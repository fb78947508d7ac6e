"""The command `putback`. Errors are one plain line and an exit code other than zero."""

# Each module enters its commands; `--help` lists them in this order.
from server.cli import serving, people, checking, lists, dossiers, copies, moving  # noqa: F401, I001
from server.cli.common import app

__all__ = ["app"]
