"""Who is asking. On a loopback address one keeper needs no account: entries are signed by the name in the settings."""

from starlette.requests import HTTPConnection


def keeper(connection: HTTPConnection) -> str:
    """The name that signs what this request writes."""
    return str(connection.app.state.settings.keeper)
