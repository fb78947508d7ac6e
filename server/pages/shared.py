"""What a share link opens: one machine's mod sheet as its record is now, to read, and the same as PDF.

Nothing that is private is on it, whatever the address asks for, and it leads to no other page of the record. Who asks
is nobody the house knows.
"""

from collections import OrderedDict
from dataclasses import dataclass
from threading import Lock

from fastapi import APIRouter, FastAPI
from starlette.responses import PlainTextResponse, Response

from server.access.share_links import opened_today, shared_path
from server.documents.mod_sheet import SheetData
from server.documents.pdf import mod_sheet_pdf
from server.documents.sheet_choice import SheetChoice
from server.documents.signing import Drawn, drawn_up
from server.pages.house import AtHome, House
from server.pages.outside import HEADERS, closed, outside_page
from server.pages.sheets import pdf_name
from server.records import clock
from server.records.questions.share_links import until
from server.records.tables import ShareLink

router = APIRouter()
READ = ["GET", "HEAD"]
ROBOTS = "User-agent: *\nDisallow: /\n"


@dataclass(frozen=True, slots=True)
class SharedPage:
    """A mod sheet for whoever has a link: until when it opens, where its PDF is, and hosts that it does not lead to."""

    sheet: SheetData
    cautions: list[str]
    until: str
    pdf: str
    home: list[str]


@router.api_route("/shared/{token}", methods=READ)
def shared_sheet(house: AtHome, token: str) -> Response:
    found = _opened(house, token)
    if found is None:
        return closed()
    link, drawn = found
    context = SharedPage(
        sheet=drawn.sheet,
        cautions=list(drawn.sheet.cautions),
        until=until(link),
        pdf=f"{shared_path(token)}/sheet.pdf",
        home=house.settings.hosts,
    )
    return outside_page("shared/sheet.html", context)


@router.api_route("/shared/{token}/sheet.pdf", methods=READ)
def shared_pdf(house: AtHome, token: str) -> Response:
    found = _opened(house, token)
    if found is None:
        return closed()
    _, drawn = found
    named = f'inline; filename="{pdf_name(drawn.sheet.tag, "mod-sheet", drawn.sheet.day)}"'
    headers = HEADERS | {"Content-Disposition": named}
    if house.request.method == "HEAD":  # it asks for no body, so nothing is drawn
        return Response(media_type="application/pdf", headers=headers)
    return Response(_printed(house.request.app).of(drawn), media_type="application/pdf", headers=headers)


class Printed:
    """The sheets that were asked for last, as PDF: a stranger who asks again and again keeps nobody from working."""

    def __init__(self, most: int = 16) -> None:
        self._most = most
        self._pdfs: OrderedDict[tuple[str, ...], bytes] = OrderedDict()
        self._lock = Lock()

    def of(self, drawn: Drawn) -> bytes:
        """Drawn once for one state of the record on one day; two who ask at once wait for the same."""
        sheet = drawn.sheet
        key = sheet.digest, sheet.day, sheet.signer, str(sheet.is_short)
        with self._lock:
            if key not in self._pdfs:
                self._pdfs[key] = mod_sheet_pdf(sheet, drawn.record)
                while len(self._pdfs) > self._most:
                    self._pdfs.popitem(last=False)
            self._pdfs.move_to_end(key)
            return self._pdfs[key]


_making = Lock()


def _printed(app: FastAPI) -> Printed:
    with _making:
        if not hasattr(app.state, "printed"):
            app.state.printed = Printed()
    printed: Printed = app.state.printed
    return printed


@router.api_route("/robots.txt", methods=READ)
def robots() -> Response:
    """A keeper's record is for nobody's index, and neither is what is shared of it."""
    return PlainTextResponse(ROBOTS)


def shared_choice(link: ShareLink) -> SheetChoice:
    """What is on a shared sheet: every mod, full or short as the link says, and nothing that is private."""
    return SheetChoice.read({"length": link.length, "photographs": "without"})


def _opened(house: House, token: str) -> tuple[ShareLink, Drawn] | None:
    """The sheet that a token opens today. Where the machine names no keeper, whoever made the link stands on it."""
    with house.reading() as session:
        found = opened_today(session, token)
    if found is None:
        return None
    link, machine = found
    today = clock.today()
    drawn = drawn_up(house.store, machine.tag, today, otherwise=link.created_by, choice=shared_choice(link))
    return link, drawn
