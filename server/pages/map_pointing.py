"""Spots on a picture of a board as they come from forms: pressed on a picture, with a script or without one."""

from server.pages.forms import Form, number_of
from server.pages.map_marks import fine_href, picture_href
from server.pages.map_view import MapView, Way, map_view
from server.records.pictures import SCREEN, fitted
from server.records.questions.maps import MapPicture

Pointed = tuple[float, float]


def shown_size(picture: MapPicture) -> tuple[int, int]:
    """The size in which the picture is shown where it is pressed without a script."""
    return fitted(picture.plane.width, picture.plane.height, SCREEN)


def pointed_at(form: Form, field: str, picture: MapPicture) -> Pointed | None:
    """The spot at which the picture was pressed, in its own pixels, taken out of the form; none where it was not.

    A browser sends which pixel of the shown picture was pressed (HTML, `input type=image`), and the very first one
    where the picture was chosen by the keyboard: that points at nothing.
    """
    texts = [form.text(f"{field}.{axis}") for axis in ("x", "y")]
    for axis in ("x", "y"):
        form.values.pop(f"{field}.{axis}", None)
    across, down = (number_of(text) for text in texts)
    if across is None or down is None or across == down == 0:
        return None
    width, height = shown_size(picture)
    scale_x, scale_y = picture.plane.width / width, picture.plane.height / height
    return min((across + 0.5) * scale_x, picture.plane.width), min((down + 0.5) * scale_y, picture.plane.height)


def plain_view(picture: MapPicture) -> MapView:
    """The whole picture as it was taken, with no mark on it."""
    size = picture.plane.width, picture.plane.height
    words = f"Picture {picture.number}, a {picture.row.kind}: press a spot on it."
    return map_view(picture_href(picture.photograph), size, Way(), [], words, fine_href(picture.photograph))
