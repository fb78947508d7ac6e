"""Whether the server is well: for the program that watches it, never for people."""

from fastapi import APIRouter
from sqlmodel import select
from starlette.responses import PlainTextResponse, Response

from server.pages.house import AtHome

router = APIRouter()


@router.get("/healthz")
def healthz(house: AtHome) -> Response:
    """It can read its record."""
    with house.reading() as session:
        session.exec(select(1))
    return PlainTextResponse("well\n", headers={"Cache-Control": "no-store"})
