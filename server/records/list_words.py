"""What people write in parts lists, and the record's own word for it: headings, kinds, mountings, origins.

Words are compared with case and punctuation folded. Class letters are those printed on boards
(common practice, no source).
"""

import re

from server.records.texts import normal
from server.records.words import Mounting, Origin, PartKind

HEADINGS: dict[str, tuple[str, ...]] = {
    "designator": (
        "designator", "designators", "ref", "refs", "ref des", "refdes", "reference", "references",
        "reference designator", "circuit reference", "position", "pos", "location",
    ),
    "kind": ("kind", "kind of part", "part kind", "category", "class", "component type"),
    "type": (
        "type", "part type", "type number", "part", "part number", "part no", "device", "chip", "ic",
    ),
    "marking": ("marking", "markings", "marked", "printed", "as printed", "text on part"),
    "value": ("value", "val", "nominal", "nominal value", "resistance", "capacitance", "frequency"),
    "tolerance": ("tolerance", "tol"),
    "rating": ("rating", "rated", "voltage rating", "power rating", "rated voltage", "rated power", "voltage", "power"),
    "maker_mark": (
        "maker", "maker mark", "makers mark", "maker s mark", "manufacturer", "mfr", "made by", "brand", "logo",
    ),
    "date_code": ("date code", "datecode", "date", "dc", "week", "year week"),
    "origin": ("origin", "originality", "original"),
    "condition": ("condition", "state", "status"),
    "pedigree": ("pedigree", "donor", "from", "came from", "taken from", "source"),
    "mounting": ("mounting", "mount", "fitting", "how mounted", "socket", "socketed"),
    "expected_type": ("expected type", "expected", "specified type", "specified", "type expected", "as designed"),
    "expected_value": ("expected value", "specified value", "value expected", "design value"),
    "note": ("note", "notes", "remark", "remarks", "comment", "comments", "description"),
}  # fmt: skip

# What parts lists have beside them: understood, and left out.
ASIDE = ("board", "on board", "quantity", "qty", "count", "item", "line")

KINDS: dict[PartKind, tuple[str, ...]] = {
    PartKind.CHIP: ("chips", "ic", "ics", "integrated circuit", "microchip", "eprom", "rom", "ram", "logic", "cpu"),
    PartKind.RESISTOR: (
        "resistors", "res", "r", "potentiometer", "pot", "trimmer", "preset", "resistor network", "resistor pack",
    ),
    PartKind.CAPACITOR: ("capacitors", "cap", "caps", "c", "electrolytic", "tantalum"),
    PartKind.DIODE: ("diodes", "zener", "zener diode", "rectifier", "led", "bridge"),
    PartKind.TRANSISTOR: ("transistors", "fet", "mosfet", "bjt"),
    PartKind.CONNECTOR: ("connectors", "plug", "header", "jack", "edge connector", "socket"),
    PartKind.CRYSTAL: ("crystals", "xtal", "resonator", "ceramic resonator", "quartz"),
    PartKind.WIRE: ("wires", "link", "links", "jumper", "jumpers"),
    PartKind.MODULE: ("modules", "modulator", "assembly"),
    PartKind.OTHER: ("misc", "miscellaneous", "various", "fuse", "switch", "relay", "inductor", "coil", "transformer"),
}  # fmt: skip

MOUNTINGS: dict[Mounting, tuple[str, ...]] = {
    Mounting.SOCKETED: ("socket", "in socket", "in a socket", "yes", "y", "plugged"),
    Mounting.SOLDERED: ("solder", "through hole", "surface mount", "direct", "no", "n"),
    Mounting.WIRED: ("wire", "wires", "on wires", "flying lead", "flying leads", "lead"),
}

ORIGINS: dict[Origin, tuple[str, ...]] = {
    Origin.ORIGINAL: ("orig", "factory", "factory fitted", "yes", "y"),
    Origin.PERIOD: ("of the period", "of its time", "period correct", "old stock"),
    Origin.LATER: ("replaced", "replacement", "not original"),
    Origin.NEW: ("new part", "modern", "newly made", "reproduction"),
    Origin.UNKNOWN: ("not known", "unsure", "?"),
}

LETTERS: dict[PartKind, tuple[str, ...]] = {
    PartKind.CHIP: ("u", "ic"),
    PartKind.RESISTOR: ("r", "rn", "rp", "rv", "vr"),
    PartKind.CAPACITOR: ("c", "ce", "vc"),
    PartKind.DIODE: ("d", "cr", "zd", "led", "br"),
    PartKind.TRANSISTOR: ("q", "tr"),
    PartKind.CONNECTOR: ("j", "p", "cn", "pl", "sk"),
    PartKind.CRYSTAL: ("x", "y", "xtal"),
    PartKind.WIRE: ("w", "lk"),
}


def folded(text: str) -> str:
    """Words without case and punctuation: `Date-Code ` and `date_code` are both `date code`."""
    return " ".join(re.findall(r"[^\W_]+|\?", normal(text).casefold()))


def kind_of_designator(designator: str) -> PartKind:
    """What kind of part the letters of a designator stand for: `R7` a resistor, `IC3` a chip."""
    letters = re.match(r"[^\W\d_]+", designator.strip())
    return KIND_BY_LETTERS.get(letters.group().casefold(), PartKind.OTHER) if letters else PartKind.OTHER


KIND_BY_LETTERS = {letters: kind for kind, several in LETTERS.items() for letters in several}
WORDS: dict[str, dict[str, str]] = {
    "kind": {word: kind.value for kind, others in KINDS.items() for word in (kind.value, *others)},
    "mounting": {word: mounting.value for mounting, others in MOUNTINGS.items() for word in (mounting.value, *others)},
    "origin": {word: origin.value for origin, others in ORIGINS.items() for word in (origin.value, *others)},
}
OFFERED = {"kind": PartKind, "mounting": Mounting, "origin": Origin}
