"""What people call each entry of a record, by its UUID: `Part R2 on Main board (330 Ω resistor)`, `Mod 8`.

Works on plain records as they are kept on paper and in archives, so also on those of an older version of the program:
a key that is missing is empty.
"""

from collections.abc import Callable, Iterator, Mapping
from typing import Any

Entry = Mapping[str, Any]
Names = dict[str, str]
SEAT, WHAT = "seat of ", "what is "  # before a part's UUID: where it sits, and what it is
STILL = "9999"  # later than any day


def names_in(record: Mapping[str, Any]) -> Names:
    """The name of every entry of the record that others refer to or that can change."""
    names: Names = {}
    for section, name in SECTIONS.items():
        for entry in entries_of(record, section):
            names[str(entry["uuid"])] = name(entry, names)
            for key in INNER.get(section, ()):
                for inner in entries_of(entry, key):
                    names[str(inner["uuid"])] = f"{names[str(entry['uuid'])]}, {WITHIN[key](inner, names)}"
        if section == "positions":
            names |= {f"{SEAT}{part}": names.get(position, "") for part, position in _seats(record)}
    machine = record.get("machine")
    return names | ({str(machine.get("uuid")): "The machine"} if isinstance(machine, dict) else {})


def _seats(record: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Each part with the position where it sits, or sat last."""
    stays = sorted(entries_of(record, "placements"), key=lambda stay: str(stay.get("removed_on") or STILL))
    yield from ((str(stay.get("part")), str(stay.get("position"))) for stay in stays)


def entries_of(record: Mapping[str, Any], section: str) -> Iterator[Entry]:
    """The entries of one list of a record."""
    found = record.get(section)
    yield from (one for one in found if isinstance(one, dict) and "uuid" in one) if isinstance(found, list) else ()


def _of(names: Names, entry: Entry, key: str, unknown: str = "something outside this record") -> str:
    return names.get(str(entry.get(key)), unknown)


def _text(entry: Entry, key: str) -> str:
    value = entry.get(key)
    return "" if value is None else str(value)


def _board(entry: Entry, _: Names) -> str:
    return f"Board {_text(entry, 'name')}"


def _position(entry: Entry, names: Names) -> str:
    return f"Position {_text(entry, 'designator')} on {_of(names, entry, 'board').removeprefix('Board ')}"


def _part(entry: Entry, names: Names) -> str:
    """By where it sits, and by what it is: several parts can have sat at one position."""
    what = " ".join(filter(None, (_text(entry, "type"), _text(entry, "value"), _text(entry, "kind"))))
    names[f"{WHAT}{entry['uuid']}"] = what
    seat = names.get(f"{SEAT}{entry['uuid']}", "").removeprefix("Position ")
    return f"Part {seat} ({what})" if seat else f"Part {what}"


def _placement(entry: Entry, names: Names) -> str:
    what = names.get(f"{WHAT}{entry.get('part')}", "a part")
    return f"Stay of {what} at {_of(names, entry, 'position').removeprefix('Position ')}"


def _storage(entry: Entry, names: Names) -> str:
    return f"Bag {_text(entry, 'bag')} with {_of(names, entry, 'part', 'a part').removeprefix('Part ')}"


def _loan(entry: Entry, names: Names) -> str:
    return f"Loan of {_of(names, entry, 'part', 'a part').removeprefix('Part ')} since {_text(entry, 'since')}"


def _stay(entry: Entry, names: Names) -> str:
    since = f" since {entry['since']}" if entry.get("since") else " from the start"
    return f"{_of(names, entry, 'board')} in {_text(entry, 'machine')}{since}"


def _mod(entry: Entry, _: Names) -> str:
    return f"Mod {_text(entry, 'number')}"


def _calculation(entry: Entry, names: Names) -> str:
    return f"{_of(names, entry, 'mod', 'A mod')}, calculation {_text(entry, 'number')}"


def _net(entry: Entry, names: Names) -> str:
    return (
        f"Net {_text(entry, 'name') or _text(entry, 'number')} on {_of(names, entry, 'board').removeprefix('Board ')}"
    )


def _board_picture(entry: Entry, names: Names) -> str:
    return f"Map picture {_text(entry, 'number')} of {_of(names, entry, 'board').removeprefix('Board ')}"


def _map_pin(entry: Entry, names: Names) -> str:
    return f"Map pin of {_of(names, entry, 'position').removeprefix('Position ')}"


def _numbered(word: str) -> Callable[[Entry, Names], str]:
    return lambda entry, _: f"{word} {_text(entry, 'number')}"


def _named(word: str, key: str) -> Callable[[Entry, Names], str]:
    return lambda entry, _: f"{word} {_text(entry, key)}"


# Entries within others that are referred to from elsewhere.
INNER: Mapping[str, tuple[str, ...]] = {"mods": ("steps",)}
# In the order of names: what is called by others comes first.
SECTIONS: Mapping[str, Callable[[Entry, Names], str]] = {
    "other_machines": _named("Machine", "tag"),
    "boards": _board,
    "positions": _position,
    "parts": _part,
    "placements": _placement,
    "storages": _storage,
    "loans": _loan,
    "board_stays": _stay,
    "mods": _mod,
    "calculations": _calculation,
    "procedures": _named("Procedure", "title"),
    "trials": _numbered("Trial"),
    "waveforms": _numbered("Waveform"),
    "symptoms": _numbered("Symptom"),
    "nets": _net,
    "photographs": _numbered("Photograph"),
    "board_pictures": _board_picture,
    "map_pins": _map_pin,
    "files": _numbered("File"),
    "designs": _named("Design", "slug"),
}
# What stands within an entry, by the key it stands under.
WITHIN: Mapping[str, Callable[[Entry, Names], str]] = {
    "moves": lambda entry, _: f"move to {_text(entry, 'state')} on {_text(entry, 'day')}",
    "steps": _numbered("step"),
    "expectations": _numbered("expectation"),
    "inputs": _named("input", "name"),
    "runs": _numbered("run"),
    "pins": lambda entry, names: (
        f"pin {_text(entry, 'pin')} of {_of(names, entry, 'position').removeprefix('Position ')}"
    ),
    "points": lambda entry, _: f"point at {entry.get('x')}, {entry.get('y')}",
    "causes": _numbered("possible cause"),
    "evidence": lambda entry, _: f"evidence of {_text(entry, 'day')}",
}
