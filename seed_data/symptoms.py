"""What the demo's machine did that it should not, what was suspected, and what came of each guess. All invented."""

from collections.abc import Iterator
from typing import Any

from seed_data.screen_picture import stripes
from server.records.commands import photographs, symptoms
from server.records.commands.base import Command

Act = tuple[type[Command], dict[str, Any]]

HEADROOM = "The regulator runs out of headroom at the bottom of the ripple."
LEAD = "The loudspeaker's lead picks the hum up from the transformer."
FILTER = "The tape input filter turns down where the upper tone's edges are."
MEMORY = "The picture logic shows the memory before the program has cleared it."
HEAD_ASSUMED = "The errors come from the filter and not from the tape head's angle."


def first_seen(machine: str) -> Iterator[Act]:
    """Three symptoms as it came in, and the first guesses."""
    yield _symptom(
        machine, "Loud hum from the loudspeaker", "2025-03-14",
        "Switch on with the volume at half. It is there at once, and worse while the recorder's motor runs.",
        "A steady tone, by ear an octave above the mains.",
    )  # fmt: skip
    yield _symptom(
        machine, "Errors while a tape loads", "2025-03-16",
        "Tape B, side 1, recorder at volume 7: two to six errors in nearly every load.",
    )  # fmt: skip
    yield _symptom(
        machine, "Stripes on the screen for a moment after switch-on", "2025-03-14",
        "Switch on, cold or warm: every time, for half a second.", "The stripes differ from one time to the next.",
    )  # fmt: skip
    yield photographs.AddPhotograph, {
        "machine": machine, "on_kind": "symptom", "on": "3", "file_name": "screen at switch-on.jpg",
        "caption": "The screen just after switch-on, cold", "content": stripes("2025:03:14 19:42:10"),
    }  # fmt: skip
    yield _suspect(machine, 1, HEADROOM)
    yield _suspect(machine, 1, LEAD)
    yield _suspect(machine, 2, FILTER)
    yield _suspect(machine, 3, MEMORY)


def hum_gone(machine: str) -> Iterator[Act]:
    """The hum: one cause confirmed by a sum and a trial, the other guess ruled out by hand; cured by mod 1."""
    moved = "The lead moved away by a hand's breadth: no change to the ear or on the meter."
    yield _evidence(machine, 1, 2, "against", "2025-03-30", moved)
    yield _judge(machine, 1, 2, "ruled out", "2025-03-30", LEAD)
    yield _evidence(
        machine, 1, 1, "for", "2025-04-02", "With the reservoir it came with, the headroom is not certain.",
        calculation="1/1",
    )  # fmt: skip
    yield _evidence(
        machine, 1, 1, "for", "2025-04-20", "Less than half of trial 1, with nothing changed but the reservoir.",
        trial="3",
    )  # fmt: skip
    yield _judge(machine, 1, 1, "confirmed", "2025-04-20", HEADROOM, "More reservoir alone took the hum away.")
    yield _end(
        machine, 1, "cured", "2025-04-20",
        "Nothing to be heard at half volume, not even while the recorder's motor runs.", mod="1",
    )  # fmt: skip


def filter_ruled_out(machine: str) -> Iterator[Act]:
    """The tape errors stay open: one guess fewer, and one that the sum had taken for granted."""
    yield _evidence(
        machine, 2, 1, "against", "2025-05-05", "As many errors as in trial 2, with the corner raised by half.",
        trial="4",
    )  # fmt: skip
    yield _judge(
        machine, 2, 1, "ruled out", "2025-05-05", FILTER,
        "The corner is where it was meant to be, and nothing is better.",
    )  # fmt: skip
    yield _suspect(
        machine, 2, "The recorder's head stands at an angle to the tape.", calculation="2/1", assumption=HEAD_ASSUMED
    )  # fmt: skip
    yield _evidence(
        machine, 2, 2, "for", "2025-05-10",
        "Music from this recorder is dull, and brighter while the tape is pressed aside.",
    )  # fmt: skip


def stripes_explained(machine: str) -> Iterator[Act]:
    """The stripes: nothing is wrong."""
    held = "With the new button held, the stripes stay until it is let go; they are others each time it is switched on."
    yield _evidence(machine, 3, 1, "for", "2025-07-12", held)
    yield _judge(machine, 3, 1, "confirmed", "2025-07-12", MEMORY)
    yield _end(
        machine, 3, "explained", "2025-07-12",
        "The picture logic runs as soon as the clock does and shows whatever the memory holds; the program clears it "
        "half a second later.",
    )  # fmt: skip


def _symptom(machine: str, title: str, day: str, bring_about: str, note: str = "") -> Act:
    return symptoms.NoteSymptom, {
        "machine": machine, "title": title, "seen_on": day, "bring_about": bring_about, "note": note
    }  # fmt: skip


def _suspect(machine: str, symptom: int, sentence: str, **opened_from: str) -> Act:
    return symptoms.SuspectCause, {"machine": machine, "symptom": symptom, "sentence": sentence, **opened_from}


def _evidence(machine: str, symptom: int, cause: int, side: str, day: str, note: str, **tied: str) -> Act:
    return symptoms.AddEvidence, {
        "machine": machine, "symptom": symptom, "cause": cause, "side": side, "day": day, "note": note, **tied
    }  # fmt: skip


def _judge(machine: str, symptom: int, cause: int, state: str, day: str, sentence: str, why: str = "") -> Act:
    return symptoms.JudgeCause, {
        "machine": machine, "symptom": symptom, "cause": cause, "opened_version": 1, "state": state, "judged_on": day,
        "sentence": sentence, "why": why,
    }  # fmt: skip


def _end(machine: str, symptom: int, ended_as: str, day: str, note: str, mod: str = "") -> Act:
    return symptoms.EndSymptom, {
        "machine": machine, "symptom": symptom, "opened_version": 1, "ended_as": ended_as, "ended_on": day,
        "ended_note": note, "mod": mod,
    }  # fmt: skip
