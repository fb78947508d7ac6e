"""Photographs, files and the maps of boards as a machine's record has them."""

from datetime import date
from typing import Literal
from uuid import UUID

from pydantic import Field

from server.documents.record_base import Nothing, Recorded
from server.records.words import FileKind, Moment, PictureKind


class RecordedPhotograph(Recorded):
    """A photograph by the digests of its file: as kept, without place data, and as it was sent."""

    machine: str = Field(description="The tag of the machine in which it was added, and has its number.")
    number: int
    on_kind: str
    on_uuid: UUID = Field(description="The entry of this record that the photograph is attached to.")
    moment: Moment | Nothing = Field(description="Of the step that it shows; empty where it is not said.")
    caption: str
    taken_on: date | None
    file_name: str
    media_type: Literal["image/jpeg", "image/png", "image/webp", "image/heic"]
    width: int
    height: int
    size: int
    sha256: str
    sent_sha256: str


class RecordedFile(Recorded):
    """Another file, kept byte for byte, by its digests."""

    machine: str = Field(description="The tag of the machine in which it was added, and has its number.")
    number: int
    on_kind: str
    on_uuid: UUID = Field(description="The entry of this record that the file is attached to.")
    kind: FileKind
    caption: str
    file_name: str
    size: int
    sha256: str
    crc32: str
    sha1: str


class RecordedMatchPoint(Recorded):
    """One spot of a board in its reference picture and in another, in pixels of the upright photographs."""

    reference_x: float
    reference_y: float
    x: float
    y: float


class RecordedBoardPicture(Recorded):
    """A photograph on a board's map, with the points that match it to the reference picture."""

    board: UUID
    number: int
    photograph: UUID
    kind: PictureKind
    is_reference: bool = Field(description="The others of this board are matched to it.")
    match_kind: Literal["similarity", "affine", "projective", ""] = Field(
        description="Empty for the simplest that the points bear."
    )
    points: list[RecordedMatchPoint]


class RecordedMapPin(Recorded):
    """Where a position is on the picture that it was placed on, in pixels of the upright photograph."""

    position: UUID
    board_picture: UUID
    x: float
    y: float
