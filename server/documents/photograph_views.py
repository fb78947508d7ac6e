"""The photographs of a sheet as they go into a PDF: small views of their kept files, and what is wrong with a file.

A photograph is printed only from a file that still holds what was stored in it: a sheet speaks for the record.
"""

from collections.abc import Callable

from server.documents.sheet_shape import SheetData
from server.records.errors import Damaged
from server.records.files import FileStore
from server.records.pictures import SMALL, is_whole
from server.records.questions.photographs import fresh_view_of, view_of
from server.records.tables import Photograph


def fault_in(files: FileStore) -> Callable[[Photograph], str]:
    """Says of a photograph why it cannot be shown, or nothing; its file is read through, in pieces."""

    def fault_of(photograph: Photograph) -> str:
        if not files.path(photograph.sha256).is_file():
            return "its file is missing"
        try:
            for _ in files.pieces(photograph.sha256):
                pass
        except Damaged:
            return "its file is damaged"
        return ""

    return fault_of


def views_of(sheet: SheetData, files: FileStore) -> dict[str, bytes]:
    """The views of a sheet's photographs, JPEG files by the digests of what they are made of; of one at fault none."""
    views = {}
    for digest in dict.fromkeys(shot.sha256 for shot in sheet.shown if not shot.fault):
        try:
            view = view_of(files, digest, SMALL)
            views[digest] = view if is_whole(view) else fresh_view_of(files, digest, SMALL)
        except Damaged:
            continue  # it stands on the sheet as one that cannot be shown
    return views
