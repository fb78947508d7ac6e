"""The fixed vocabularies of the record, in the words that are stored and shown alike."""

from enum import StrEnum


class Hazard(StrEnum):
    """What about a machine, board or mod can hurt someone."""

    DISPLAY_TUBE = "display tube"
    MAINS_INSIDE = "mains inside"
    CHARGED_RESERVOIR = "charged reservoir"
    BATTERY = "battery"
    BRITTLE_PLASTIC = "brittle plastic"
    LEAD_AND_FUMES = "lead and flux fumes"
    ASBESTOS = "asbestos or old thermal paste"
    STATIC = "static"


class BoardKind(StrEnum):
    MAIN = "main board"
    DISPLAY = "display board"
    SUPPLY = "supply"
    KEYBOARD = "keyboard"
    DRIVE = "drive"
    EXPANSION = "expansion"
    OTHER = "other"


class Mounting(StrEnum):
    SOCKETED = "socketed"
    SOLDERED = "soldered"
    WIRED = "wired"


class PartKind(StrEnum):
    CHIP = "chip"
    RESISTOR = "resistor"
    CAPACITOR = "capacitor"
    DIODE = "diode"
    TRANSISTOR = "transistor"
    CONNECTOR = "connector"
    CRYSTAL = "crystal"
    WIRE = "wire"
    MODULE = "module"
    OTHER = "other"


class Origin(StrEnum):
    """Whether the part left the factory in this machine, is of its time, or came after."""

    ORIGINAL = "original"
    PERIOD = "period"
    LATER = "later"
    NEW = "new"
    UNKNOWN = "unknown"


class Gone(StrEnum):
    """Why a part is in no position and no bag."""

    DISCARDED = "discarded"
    HANDED_OVER = "handed over"
    LOST = "lost"


class ModState(StrEnum):
    CONSIDERED = "considered"
    PLANNED = "planned"
    FITTED = "fitted"
    UNDONE = "undone"
    DROPPED = "dropped"


class Aim(StrEnum):
    """What kind of work a mod is, in the terms of conservation."""

    PREVENT = "prevent"
    REMEDY = "remedy"
    RESTORE = "restore"
    ADAPT = "adapt for use"


class Dating(StrEnum):
    """The keeper's own word on whether a part's date code tells of its board's age."""

    COUNTS = "counts"
    DOES_NOT_COUNT = "does not count"


class StepKind(StrEnum):
    TAKE_OUT = "take out"
    FIT = "fit"
    LIFT_PIN = "lift pin"
    CUT_TRACE = "cut trace"
    ADD_LINK = "add link"
    DRILL_OR_CUT_CASE = "drill or cut case"
    CHANGE_FIRMWARE = "change firmware"
    ADJUST = "adjust"
    CLEAN = "clean"
    OTHER = "other"


class Trace(StrEnum):
    """What a step leaves behind when undone, from nothing to what cannot be taken back."""

    NONE = "none"
    SOLDER_ONLY = "solder only"
    A_MARK = "a mark"
    PERMANENT = "permanent"


class PictureKind(StrEnum):
    """What a picture on a board's map is: drawn, or taken of the board itself."""

    LAYOUT = "layout"
    PHOTOGRAPH = "photograph"


class PinRole(StrEnum):
    """What a pin does to the net that it is on."""

    TOTEM_POLE = "totem-pole output"
    OPEN_COLLECTOR = "open collector"
    INPUT = "input"
    EITHER_WAY = "either way"
    PASSIVE = "passive"


class Level(StrEnum):
    """The level that an output is at."""

    LOW = "low"
    HIGH = "high"


class Better(StrEnum):
    """Which way a procedure's figure improves."""

    LOWER = "lower"
    HIGHER = "higher"
    NEAREST = "nearest"
    NO = "no"
    YES = "yes"


class Case(StrEnum):
    """The three states of a machine that a calculation is evaluated for."""

    STOCK = "stock"
    PLANNED = "as planned"
    FITTED = "as fitted"


class Source(StrEnum):
    """Where a calculation's input gets its value."""

    TYPED = "typed"
    PART = "part"
    TRIAL = "trial"
    WAVEFORM = "waveform"
    LINE = "line"
    UNKNOWN = "not known yet"


class Sense(StrEnum):
    """What an expectation says of a procedure's readings, or of a calculation's line."""

    BETTER = "better than before"
    AGREES = "agrees with the calculation"
    BELOW = "falls below"
    ABOVE = "rises above"
    NOT_SEEN = "no longer seen"
    SEEN = "seen"


class SymptomEnd(StrEnum):
    """How a symptom came to an end; one without an end is open."""

    CURED = "cured"
    EXPLAINED = "explained"
    ACCEPTED = "accepted"


class CauseState(StrEnum):
    """What is held of a possible cause."""

    OPEN = "open"
    RULED_OUT = "ruled out"
    CONFIRMED = "confirmed"


class EvidenceSide(StrEnum):
    """Whether a piece of evidence speaks for a possible cause or against it."""

    FOR = "for"
    AGAINST = "against"


class Moment(StrEnum):
    """When a photograph of a step was taken."""

    BEFORE = "before"
    AFTER = "after"


class FileKind(StrEnum):
    """What a file is that is kept beside the photographs."""

    SCHEMATIC = "schematic"
    FIRMWARE_DUMP = "firmware dump"
    CAPTURE = "capture"
    OTHER = "other"


class Role(StrEnum):
    """What somebody who signs in may do."""

    KEEPER = "keeper"
    KEEPER_OF_MACHINES = "keeper of some machines"
    MEMBER = "member who reads"


class Scope(StrEnum):
    """What somebody's program may do with its token."""

    READ = "read"
    RECORD_TRIALS = "record trials"
