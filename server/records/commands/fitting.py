"""The part that goes into a position: one that lies in a bag, or one described on the spot."""

from server.records.commands.base import Command, Line, OptionalInt
from server.records.commands.parts import PartFields, check_part
from server.records.errors import Invalid, NotFound, Refused
from server.records.placing import describe, open_bag, open_loan, where_is
from server.records.questions.addresses import find_part
from server.records.tables import Part, Position
from server.records.words import Origin, PartKind
from server.records.work import Work


class PartToFit(Command):
    """The part that is fitted: one that lies in a bag, or one described here.

    A bagged part of another kind than the position is for is most likely the wrong line of a list: `other_kind` says
    that it is meant.
    """

    bagged_part: OptionalInt = None
    other_kind: bool = False
    part_kind: PartKind | None = None
    type: Line = ""
    marking: Line = ""
    value: Line = ""
    rating: Line = ""
    maker_mark: Line = ""
    date_code: Line = ""
    origin: Origin = Origin.NEW
    pedigree: Line = ""


def part_to_fit(work: Work, command: PartToFit, position: Position) -> Part:
    if command.bagged_part is not None:
        part = _from_bag(work, command.bagged_part)
        differ = part.kind != position.kind and PartKind.OTHER not in (part.kind, position.kind)
        if differ and not command.other_kind:
            raise Invalid(
                {"other_kind": f"That part is a {part.kind}, and {position.designator} is for a {position.kind}."}
            )
        return part
    if not _names_part(command):
        raise Invalid({"type": "Say what was fitted: its type, marking or value, or choose a part that lies in a bag."})
    described = PartFields.read(
        {
            "kind": command.part_kind or position.kind,
            **{
                name: getattr(command, name)
                for name in ("type", "marking", "value", "rating", "maker_mark", "date_code", "origin", "pedigree")
            },
        }
    )
    check_part(described)
    return work.add(Part(**described.columns(PartFields)))


def _from_bag(work: Work, number: int) -> Part:
    try:
        part = find_part(work.session, number)
    except NotFound as missing:
        raise Invalid({"bagged_part": str(missing)}) from None
    if open_bag(work.session, part) is None:
        raise Invalid({"bagged_part": "That part lies in no bag."})
    return part


def _names_part(command: PartToFit) -> bool:
    return command.bagged_part is not None or any((command.type, command.marking, command.value))


def to_put_back(work: Work, part_id: int, position: Position, command: PartToFit) -> tuple[Part, str]:
    """The part that was taken out; or a like one, where it is out of reach."""
    own, named = work.session.get_one(Part, part_id), _names_part(command)
    lent = open_loan(work.session, own)
    bag = None if lent and named else open_bag(work.session, own)
    if bag and named:
        raise Refused(f"What was taken out lies in bag {bag.bag}. Put that back, and leave the other out.", "type")
    if bag:
        return own, f"put {describe(own)} back at {position.designator}"
    where = where_is(work.session, own)
    if not named:
        raise Refused(
            f"The {describe(own)} that was taken out is {where}. Name a like part that takes its place.", "type"
        )
    like = part_to_fit(work, command, position)
    return like, f"put {describe(like)} at {position.designator} in place of {describe(own)}, which is {where}"
