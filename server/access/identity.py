"""Who is asking. Without accounts it is this machine's own keeper, who signs by the name in the settings."""

from starlette.requests import HTTPConnection

from server.access.sign_ins import SignedIn


def signed_in_as(connection: HTTPConnection) -> SignedIn | None:
    """Who is signed in, where that had to be asked."""
    who: SignedIn | None = getattr(connection.state, "signed_in", None)
    return who


def keeper(connection: HTTPConnection) -> str:
    """The name that signs what this request writes."""
    who = signed_in_as(connection)
    return who.signs_as if who else str(connection.app.state.settings.keeper)
