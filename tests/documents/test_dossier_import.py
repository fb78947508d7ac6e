"""Dossiers whose bag is sound and whose contents are not: each is refused in words, and nothing of it is written."""

import hashlib
import json
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from sqlmodel import func, select

from server.documents.bag_reader import BadBag
from server.documents.bags import BagWriter
from server.documents.dossier import Asked, write_dossier
from server.documents.dossier_import import Choice, read_dossier, take_in
from server.documents.dossier_look import in_words, look_at
from server.documents.record import canonical
from server.documents.signing import sign
from server.records.commands.files import AddFile
from server.records.commands.photographs import AddPhotograph
from server.records.commands.sheets import SheetFields
from server.records.store import Store
from server.records.tables import JournalEntry
from server.records.work import unheard
from tests.documents.conftest import opened
from tests.documents.invented import KEEPER, TAG, tell
from tests.documents.test_dossier import DAY, DUMP
from tests.records.photographs import written

Payload = dict[str, bytes]


@pytest.fixture(scope="module")
def payload(tmp_path_factory: pytest.TempPathFactory) -> Payload:
    """The files of a sound dossier, by their names in the bag: with a photograph, a dump and a signed sheet."""
    folder = tmp_path_factory.mktemp("sound")
    store = opened(folder)
    bench = tell(store)
    bench.do(AddPhotograph, on_kind="machine", on="", file_name="as found.jpg", content=written("JPEG"))
    bench.do(AddFile, on_kind="machine", on="", kind="firmware dump", caption="", file_name="rom.bin", content=DUMP)
    sign(store, TAG, SheetFields(signer=KEEPER, day=DAY), KEEPER)
    place = folder / "dossier.zip"
    write_dossier(store, Asked(TAG, DAY, KEEPER), place, unheard)
    store.close()
    with zipfile.ZipFile(place) as packed:
        names = [name for name in packed.namelist() if "/data/" in name]
        return {name.partition("/data/")[2]: packed.read(name) for name in names}


def bagged(payload: Payload, place: Path) -> Path:
    """The files as a sound bag."""
    with BagWriter(place, "forged", DAY) as bag:
        for name, content in payload.items():
            bag.add(name, [content])
        bag.finish({"Bagging-Date": str(DAY)})
    return place


def with_record(payload: Payload, change: Callable[[dict[str, Any]], object]) -> Payload:
    """The same with its record changed, in its one spelling."""
    record = json.loads(payload["record.json"])
    change(record)
    return payload | {"record.json": canonical(record)}


def refusal(payload: Payload, folder: Path) -> str:
    with pytest.raises(BadBag) as refused:
        read_dossier(bagged(payload, folder / "forged.zip"), unheard)
    return str(refused.value)


def the(kind: str, names: Payload) -> str:
    """The name of the one file of a folder."""
    (name,) = (name for name in names if name.startswith(kind) and not name.endswith(".json"))
    return name


def test_the_sound_one_is_taken_in(payload: Payload, empty: Store, tmp_path: Path) -> None:
    place = bagged(payload, tmp_path / "sound.zip")
    dossier = read_dossier(place, unheard)
    with empty.reading() as session:
        look = look_at(session, empty.files, dossier)

    done = take_in(empty, place, Choice(look.seen), KEEPER, unheard)

    assert done.seq == 1
    assert in_words(look)[0].endswith("is new here. 0 entries are the same.")
    assert look.told[-1] == "Without what is private."
    assert any("The last to write about this machine was" in words for words in look.told)
    assert look.mods[0].startswith("1. ")
    for name in (the("photographs/", payload), the("files/", payload), the("signed-sheets/", payload)):
        assert empty.files.read(hashlib.sha256(payload[name]).hexdigest()) == payload[name]


def first(section: str, **values: Any) -> Callable[[dict[str, Any]], object]:
    return lambda record: record[section][0].update(values)


UNKNOWN_UUID = "00000000-0000-4000-8000-000000000000"
CHANGED: list[tuple[str, Callable[[dict[str, Any]], object], str]] = [
    ("another version", lambda r: r.update(format="putback-record/2"), "of another version (2)"),
    ("no format", lambda r: r.update(format="other/1"), "no record of a machine as Putback writes it"),
    ("a key of a later version", first("parts", weight=3), "parts → 1 → weight: Extra inputs are not permitted"),
    ("a list of a later version", lambda r: r.update(leaflets=[]), "leaflets: Extra inputs are not permitted"),
    ("a key that is missing", lambda r: r["mods"][0].pop("title"), "mods → 1 → title: Field required"),
    ("a word that is none", first("parts", origin="stolen"), "parts → 1 → origin: Input should be 'original'"),
    ("a state that is none", first("mods", state="half done"), "mods → 1 → state"),
    ("a day that is none", first("trials", day="2025-02-30"), "trials → 1 → day"),
    ("a year that is none", lambda r: r["machine"].update(made="about 1981"), "cannot be taken over: "),
    (
        "a board that is not there",
        first("positions", board=UNKNOWN_UUID),
        f"names board {UNKNOWN_UUID}, which is not in",
    ),
    ("a part that is not there", first("placements", part=UNKNOWN_UUID), f"names part {UNKNOWN_UUID}, which is not in"),
    ("another kind of entry", lambda r: r["positions"][0].update(board=r["parts"][0]["uuid"]), "which is not in it"),
    ("one UUID twice", lambda r: r["parts"][1].update(uuid=r["parts"][0]["uuid"]), "two of its entries have one UUID"),
    ("a mod that is not there", first("trials", mods=[UNKNOWN_UUID]), "a trial names mod"),
    ("a machine that is not told", first("photographs", machine="XX-9"), "speaks of a machine XX-9 and does not say"),
    ("a tag that is none", lambda r: r["machine"].update(tag="a/b"), "“a/b” can be no machine’s tag"),
    ("the tag new", lambda r: r["machine"].update(tag="new"), "“new” can be no machine’s tag"),
    ("an address that is none", first("boards", slug="../x"), "“../x” can be no address"),
    ("a letter nobody can store", first("parts", note="a\x00b"), "note holds letters that cannot be stored"),
    ("a text without end", first("parts", note="x" * 30_000), "note holds letters that cannot be stored, or too many"),
    ("a photograph of nothing", first("photographs", on_uuid=UNKNOWN_UUID), "hangs on a machine that is not in it"),
    ("a photograph on no kind", first("photographs", on_kind="ghost"), "hangs on a ghost that is not in it"),
    ("another kind of picture", first("photographs", width=3), "is another kind of picture than its record says"),
    ("another CRC", first("files", crc32="00000000"), "File 1 has another CRC-32 or SHA-1"),
    ("a file that is not there", first("files", sha256="0" * 64), "File 1 (rom.bin) is not in the dossier"),
    (
        "a sheet that is not there",
        first("signed_sheets", sha256="0" * 64),
        "The record of the signed sheet 1 is not in",
    ),
    ("a result that cannot be read", lambda r: r["calculations"][0]["runs"][0].update(cases={}), "the three cases"),
    (
        "a result without figures",
        lambda r: r["calculations"][0]["runs"][0]["cases"]["stock"].update(result={"lines": 3}),
        "cannot be read",
    ),
    ("another journal", lambda r: r["journal"].update(hash="0" * 64), "is not that of its record"),
]


@pytest.mark.parametrize(("change", "said"), [row[1:] for row in CHANGED], ids=[row[0] for row in CHANGED])
def test_a_record_that_does_not_hold_is_refused(
    payload: Payload, tmp_path: Path, change: Callable[[dict[str, Any]], object], said: str
) -> None:
    """However sound its bag is."""
    assert said in refusal(with_record(payload, change), tmp_path)


def test_a_record_in_another_spelling_is_refused(payload: Payload, tmp_path: Path) -> None:
    spelled = json.dumps(json.loads(payload["record.json"]), indent=1).encode()

    assert "not in its one spelling" in refusal(payload | {"record.json": spelled}, tmp_path)


def test_a_bag_without_a_record_is_refused(payload: Payload, tmp_path: Path) -> None:
    without = {name: content for name, content in payload.items() if name != "record.json"}

    assert refusal(without, tmp_path) == "The dossier has no file record.json."


def test_an_entry_of_the_journal_that_was_changed_is_named(payload: Payload, tmp_path: Path) -> None:
    """Where it tells what it changed; what was private is not told and cannot be checked."""
    entries = json.loads(payload["journal.json"])
    told = next(entry for entry in entries if entry["change"] is not None)
    told["words"] = "Something else."
    forged = payload | {"journal.json": json.dumps(entries).encode()}

    assert f"Entry {told['seq']} of the journal that it brings was changed" in refusal(forged, tmp_path)


@pytest.mark.parametrize("content", [b"[{}]", b"{", b"3", b"[3]", b"\xff"])
def test_a_journal_that_is_none_is_refused(payload: Payload, tmp_path: Path, content: bytes) -> None:
    assert "What it tells of the journal cannot be read" in refusal(payload | {"journal.json": content}, tmp_path)


def swapped(payload: Payload, section: str, content: bytes, **more: object) -> Payload:
    """Another file in the place of the first of a section, told of by its digest."""
    digest = hashlib.sha256(content).hexdigest()
    changed = with_record(payload, first(section, sha256=digest, **more))
    return changed | {f"{section}/other": content}


def test_a_photograph_that_tells_more_is_refused(payload: Payload, tmp_path: Path) -> None:
    """A comment after the start of a JPEG file says where it was taken, perhaps."""
    kept = payload[the("photographs/", payload)]
    more = kept[:2] + b"\xff\xfe\x00\x0ahere 0 0" + kept[2:]

    assert "tells the place where it was taken, or more" in refusal(swapped(payload, "photographs", more), tmp_path)


def test_a_photograph_that_is_none_is_refused(payload: Payload, tmp_path: Path) -> None:
    assert "Photograph 1 cannot be taken over" in refusal(swapped(payload, "photographs", b"<svg/>"), tmp_path)


def test_a_sheet_of_another_machine_is_refused(payload: Payload, tmp_path: Path) -> None:
    record = json.loads(payload["record.json"])
    record["machine"]["uuid"] = UNKNOWN_UUID
    other = canonical(record)

    assert "is none of this machine" in refusal(swapped(payload, "signed_sheets", other), tmp_path)


def test_nothing_is_written_where_it_is_refused(payload: Payload, empty: Store, tmp_path: Path) -> None:
    """No row, no entry, no file, even when it was looked at before and exchanged since."""
    place = bagged(payload, tmp_path / "dossier.zip")
    with empty.reading() as session:
        seen = look_at(session, empty.files, read_dossier(place, unheard)).seen
    place.unlink()
    bagged(with_record(payload, first("parts", origin="stolen")), place)

    with pytest.raises(BadBag):
        take_in(empty, place, Choice(seen), KEEPER, unheard)

    with empty.reading() as session:
        assert session.exec(select(func.count()).select_from(JournalEntry)).one() == 0
    assert not list(empty.files.root.glob("??/*"))
