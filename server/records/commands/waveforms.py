"""Recording waveforms: a scope's capture with the figures that it gives, and revising what is said of it.

The file is kept as it came. The figures are read from it while the command is read, so that nobody else's write waits
for a million samples, and those of the decay again when the stretch that it is fitted over is revised. Sums that read
one of them then run again by themselves.
"""

from typing import Annotated, Any

from pydantic import AfterValidator, PrivateAttr

from server.engineering.errors import EngineeringError
from server.engineering.quantities import Toleranced, show
from server.engineering.waveforms import Capture, DecayError, read_capture
from server.records.captured import Captured, captured
from server.records.commands.base import (
    Command,
    Day,
    Line,
    NeededLine,
    OptionalFloat,
    Prose,
    change,
    expect_version,
)
from server.records.errors import Damaged, Invalid, Refused
from server.records.files import FileStore, digest_of
from server.records.questions.addresses import find_machine, find_waveform, next_number
from server.records.questions.waveforms import why_none
from server.records.tables import Waveform
from server.records.work import Entry, Work, handles

STRETCH = ("fit_from", "fit_to")


def _without_folders(name: str) -> str:
    if "/" in name or "\\" in name:
        raise ValueError("Give the file's name alone, without the folders it lies in.")
    return name


FileName = Annotated[Line, AfterValidator(_without_folders)]


class WaveformFields(Command):
    """What is said of a capture; `fit_from` and `fit_to` bound the decay to be fitted, in the file's unit of time."""

    day: Day
    title: NeededLine
    probed_at: Line = ""
    instrument: Line = ""
    conditions: Prose = ""
    signer: NeededLine
    note: Prose = ""
    fit_from: OptionalFloat = None
    fit_to: OptionalFloat = None


class RecordWaveform(WaveformFields):
    machine: str
    file_name: FileName
    content: bytes
    _found: Captured = PrivateAttr()

    def model_post_init(self, _context: object) -> None:
        self._found = _captured(_capture(self), self)

    def keep_files(self, files: FileStore) -> None:
        files.keep(self.content)

    @property
    def found(self) -> Captured:
        """What the file gives."""
        return self._found


class ReviseWaveform(WaveformFields):
    machine: str
    waveform: int
    opened_version: int


@handles(RecordWaveform)
def record_waveform(work: Work, command: RecordWaveform) -> Entry:
    machine = find_machine(work.session, command.machine)
    waveform = work.add(
        Waveform(
            machine_id=machine.key,
            number=next_number(work.session, Waveform.number, Waveform.machine_id == machine.id),
            file_name=command.file_name,
            size=len(command.content),
            sha256=digest_of(command.content),
            **command.columns(WaveformFields),
            **_columns(command.found),
        )
    )
    words = (
        f"Waveform {waveform.number} of {machine.tag}, {waveform.title}, on {waveform.day}: "
        f"{waveform.samples:,} samples from {waveform.file_name}."
    )
    return Entry("record waveform", waveform, words, machine)


@handles(ReviseWaveform)
def revise_waveform(work: Work, command: ReviseWaveform) -> Entry:
    machine = find_machine(work.session, command.machine)
    waveform = find_waveform(work.session, machine, command.waveform)
    values = command.columns(WaveformFields)
    expect_version("waveform", waveform, command.opened_version, values)
    moved = any(getattr(waveform, name) != values[name] for name in STRETCH)
    said = [change(waveform, {name: value for name, value in values.items() if name not in STRETCH})]
    if moved:
        said.append(_fit_again(work, waveform, command))
    words = "; ".join(filter(None, said))
    return Entry("revise waveform", waveform, f"Waveform {waveform.number} of {machine.tag}: {words}.", machine)


def _capture(command: RecordWaveform) -> Capture:
    if not command.file_name:
        raise Invalid({"capture": "Choose the file that the scope saved."})
    if not command.content:
        raise Invalid({"capture": f"{command.file_name} is empty. Save the capture again, and choose that file."})
    try:
        return read_capture(command.content)
    except EngineeringError as fault:
        raise Invalid({"capture": str(fault)}) from None


def _captured(capture: Capture, command: WaveformFields) -> Captured:
    try:
        return captured(capture, command.fit_from, command.fit_to)
    except DecayError as fault:
        raise Invalid({"fit_from" if fault.field == "start" else "fit_to": str(fault)}) from None


def _columns(found: Captured) -> dict[str, Any]:
    return {name: getattr(found, name) for name in Captured.__dataclass_fields__}


def _fit_again(work: Work, waveform: Waveform, command: ReviseWaveform) -> str:
    """Fit the decay over another stretch of the kept file, and say what came of it."""
    try:
        capture = read_capture(work.files.read(waveform.sha256))
    except Damaged as damage:
        raise Refused(
            f"{waveform.file_name} cannot be read any more, so its decay cannot be fitted anew. {damage}"
        ) from damage
    found = _captured(capture, command)
    for name, value in (_columns(found) | {name: getattr(command, name) for name in STRETCH}).items():
        setattr(waveform, name, value)
    work.touched_waveforms.add(waveform.key)
    return f"decay fitted {_stretch(waveform)}, {_told(waveform)}"


def _stretch(waveform: Waveform) -> str:
    begins = "from where it begins" if waveform.fit_from is None else f"from {waveform.fit_from:g} {waveform.time_unit}"
    ends = "to the end" if waveform.fit_to is None else f"to {waveform.fit_to:g} {waveform.time_unit}"
    return f"{begins} {ends}"


def _told(waveform: Waveform) -> str:
    if "tau" in waveform.figures:
        return f"time constant {show(Toleranced(**waveform.figures['tau']))}"
    return f"without a time constant ({why_none(waveform, 'tau')})"
