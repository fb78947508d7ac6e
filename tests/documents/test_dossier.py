"""The dossier of a machine: a valid bag with all of its record, its files as they were kept, and nothing private."""

import hashlib
import io
import json
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import bagit
import pikepdf
import pytest
from pyld import jsonld

from server.documents.dossier import Asked, folder_of, payload_of, plain_name, write_dossier
from server.documents.record import canonical, machine_record
from server.documents.signing import sign
from server.records.commands.files import AddFile
from server.records.commands.machines import ReviseMachine
from server.records.commands.photographs import AddPhotograph
from server.records.commands.share_links import MakeShareLink, WithdrawShareLink
from server.records.commands.sheets import SheetFields
from server.records.errors import Damaged, NotFound
from server.records.journal import content
from server.records.questions.addresses import find_machine
from server.records.questions.sheet import whole_machine
from server.records.tables import JournalEntry
from tests.documents.conftest import opened
from tests.documents.invented import KEEPER, PRIVATE_WORDS, TAG, Bench, tell
from tests.documents.test_pdf import figures
from tests.records.photographs import written

DAY = date(2026, 1, 2)
DUMP = bytes(range(256)) * 8


@dataclass(frozen=True, slots=True)
class Packed:
    """A dossier unpacked: its bag, and its payload."""

    bag: Path

    def read(self, name: str) -> bytes:
        return (self.bag / "data" / name).read_bytes()

    def json(self, name: str) -> Any:
        return json.loads(self.read(name))


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    """The invented machine with two photographs and two dumps, one of them of a board."""
    store = opened(tmp_path_factory.mktemp("dossier"))
    bench = tell(store)
    for kind in ("JPEG", "PNG"):
        bench.do(AddPhotograph, on_kind="machine", on="", file_name=f"as found.{kind}", content=written(kind))
    for on_kind, on in (("machine", ""), ("board", "main-board")):
        bench.do(
            AddFile,
            on_kind=on_kind,
            on=on,
            kind="firmware dump",
            caption="",
            file_name="../rom: a%0A.BIN",
            content=DUMP + on_kind.encode(),
        )
    yield bench
    store.close()


def packed(bench: Bench, folder: Path, **asked: Any) -> Packed:
    place = folder / "dossier.zip"
    write_dossier(bench.store, Asked(bench.tag, DAY, KEEPER, **asked), place, lambda done, total: None)  # noqa: ARG005
    with zipfile.ZipFile(place) as file:
        file.extractall(folder)
    return Packed(folder / folder_of(bench.tag, DAY))


@pytest.fixture(scope="module")
def dossier(bench: Bench, tmp_path_factory: pytest.TempPathFactory) -> Packed:
    return packed(bench, tmp_path_factory.mktemp("packed"))


def test_it_is_a_valid_bag(dossier: Packed) -> None:
    bag = bagit.Bag(str(dossier.bag))

    bag.validate()
    assert bag.info["Bagging-Date"] == DAY.isoformat()
    assert bag.info["External-Identifier"] == f"urn:uuid:{dossier.json('record.json')['machine']['uuid']}"


def test_its_record_is_the_machine_s_in_its_one_spelling(bench: Bench, dossier: Packed) -> None:
    with bench.store.reading() as session:
        record = canonical(machine_record(session, find_machine(session, bench.tag)))

    assert dossier.read("record.json") == record


def test_every_kept_file_is_in_it_once_as_it_was_kept(dossier: Packed) -> None:
    """By the digests that the record names; a name that came with a file never becomes a path."""
    record = dossier.json("record.json")
    named = {one["sha256"] for one in [*record["photographs"], *record["files"]]}
    within = [
        hashlib.sha256(place.read_bytes()).hexdigest()
        for folder in ("photographs", "files")
        for place in (dossier.bag / "data" / folder).iterdir()
    ]

    assert sorted(within) == sorted(named)
    assert {place.suffix for place in (dossier.bag / "data/files").iterdir()} == {".bin"}


def test_signed_sheets_go_along_as_they_were_signed(tmp_path: Path) -> None:
    """Each with the record that it bears, by the digests that the record names; nothing private, even if asked for."""
    store = opened(tmp_path)
    bench = tell(store)
    sign(store, TAG, SheetFields.read({"signer": "Ida Quern", "day": "2026-01-02"}), KEEPER)
    bench.do(ReviseMachine, model="Plover 81", opened_version=1)
    dossier = packed(bench, tmp_path / "d", private=True)
    (sheet,) = dossier.json("record.json")["signed_sheets"]
    name = f"signed-sheets/0001-{sheet['sha256'][:8]}"

    assert hashlib.sha256(dossier.read(f"{name}.pdf")).hexdigest() == sheet["pdf_sha256"]
    assert hashlib.sha256(dossier.read(f"{name}.json")).hexdigest() == sheet["sha256"]
    assert dossier.json(f"{name}.json")["machine"]["model"] == "Plover 80"
    assert not [words for words in PRIVATE_WORDS if words in dossier.read(f"{name}.json").decode()]
    bagit.Bag(str(dossier.bag)).validate()
    store.close()


def test_the_sheet_in_it_shows_the_photographs(dossier: Packed) -> None:
    with pikepdf.open(io.BytesIO(dossier.read("mod-sheet.pdf"))) as opened:
        alts = [str(one.Alt) for one in figures(opened.Root.StructTreeRoot)]

    assert alts[0] == "Photograph 1 of the machine"


def test_nothing_private_is_in_it_unless_asked_for(bench: Bench, dossier: Packed, tmp_path: Path) -> None:
    """Neither in the record nor in what the journal says; the PDF carries the same record."""

    def told(of: Packed) -> list[bool]:
        text = of.read("record.json").decode() + of.read("journal.json").decode()
        return [words in text for words in PRIVATE_WORDS]

    assert told(dossier) == [False] * len(PRIVATE_WORDS)
    assert told(packed(bench, tmp_path, private=True)) == [True] * len(PRIVATE_WORDS)


def test_whom_a_share_link_was_made_for_stays_at_home(tmp_path: Path) -> None:
    """The journal says that there was one; its digest is withheld too, unless what is private was asked for."""
    store = opened(tmp_path)
    bench = tell(store)
    bench.do(MakeShareLink, to_whom="Ida Quern", lasts="never", digest="1" * 64)
    bench.do(WithdrawShareLink, number=1)
    made, withdrawn = packed(bench, tmp_path / "d").json("journal.json")[-2:]
    whole = packed(bench, tmp_path / "p", private=True).json("journal.json")[-2]

    assert made["words"].startswith(f"A share link was made for {TAG}: link 1")
    assert (made["change"], "withheld" in made) == (None, True)
    assert [change["table"] for change in withdrawn["change"]] == ["share_link"]
    assert "Ida Quern" not in json.dumps([made, withdrawn])
    assert whole["change"][0]["after"]["to_whom"] == "Ida Quern"
    store.close()


def test_the_journal_s_entries_can_be_checked_by_their_hashes(bench: Bench, dossier: Packed) -> None:
    """Those that withhold nothing: SHA-256 over RFC 8785 of all but the hash itself."""
    entries = dossier.json("journal.json")
    withheld = [entry for entry in entries if "withheld" in entry]
    whole = [entry for entry in entries if "withheld" not in entry]

    assert [entry["seq"] for entry in entries] == sorted(entry["seq"] for entry in entries)
    assert withheld
    assert len(whole) > len(withheld)
    for entry in whole:
        told = dict(entry)
        digest = told.pop("hash")
        assert hashlib.sha256(canonical(told)).hexdigest() == digest
    with bench.store.reading() as session:
        first = session.get_one(JournalEntry, whole[0]["seq"])
    assert {key: value for key, value in whole[0].items() if key != "hash"} == content(first)


def test_the_schema_holds_the_record(dossier: Packed) -> None:
    """Every key of the record stands in the schema beside it."""
    schema = dossier.json("record.schema.json")

    assert set(dossier.json("record.json")) <= set(schema["properties"])


def test_the_context_makes_it_a_graph_of_the_trade(dossier: Packed) -> None:
    """Modifications with part additions and removals, measurements and condition assessments, of one object."""
    (machine,) = jsonld.expand(dossier.json("record.json") | dossier.json("context.jsonld"))
    crm = "http://www.cidoc-crm.org/cidoc-crm/"
    mods = machine[f"{crm}P31i_was_modified_by"]
    steps = [step for mod in mods for step in mod.get(f"{crm}P9_consists_of", [])]
    kinds = [kind for step in steps for kind in step["@type"]]

    record = dossier.json("record.json")
    assert machine["@id"].endswith(record["machine"]["uuid"])
    assert len(mods) == len(record["mods"])
    assert f"{crm}E79_Part_Addition" in kinds
    assert f"{crm}E80_Part_Removal" in kinds
    removal = next(step for step in steps if step["@type"] == [f"{crm}E80_Part_Removal"])
    parts = {f"tag:putback.invalid,2026:uuid/{part['uuid']}" for part in record["parts"]}
    assert removal[f"{crm}P113_removed"][0]["@id"] in parts
    assert len(machine[f"{crm}P39i_was_measured_by"]) == len(record["trials"])
    assert len(machine[f"{crm}P34i_was_assessed_by"]) == len(record["symptoms"])


def test_it_says_how_far_it_is(bench: Bench, tmp_path: Path) -> None:
    heard: list[tuple[int, int]] = []
    said = write_dossier(
        bench.store, Asked(TAG, DAY, KEEPER), tmp_path / "d.zip", lambda done, total: heard.append((done, total))
    )

    assert heard == [(0, 4), (1, 4), (2, 4), (3, 4), (4, 4)]
    assert said == f"The dossier of {TAG} is whole, with 4 photographs and files."


def test_a_damaged_file_leaves_no_half_dossier(tmp_path: Path) -> None:
    """Nor a file of another name."""
    store = opened(tmp_path)
    bench = tell(store)
    bench.do(AddPhotograph, on_kind="machine", on="", file_name="a.jpg", content=written("JPEG"))
    with store.reading() as session:
        (one,) = payload_of(whole_machine(session, find_machine(session, TAG)))
    store.files.path(one.sha256).write_bytes(b"something else")

    with pytest.raises(Damaged):
        write_dossier(store, Asked(TAG, DAY, KEEPER), tmp_path / "out/d.zip", lambda done, total: None)  # noqa: ARG005
    assert list((tmp_path / "out").iterdir()) == []
    store.close()


def test_an_unknown_machine_has_none(bench: Bench, tmp_path: Path) -> None:
    with pytest.raises(NotFound):
        write_dossier(bench.store, Asked("XX-99", DAY, KEEPER), tmp_path / "d.zip", lambda done, total: None)  # noqa: ARG005


def test_it_goes_on_with_the_record(bench: Bench, tmp_path: Path) -> None:
    """Written again after a change it is another."""
    before = packed(bench, tmp_path / "a")
    bench.do(ReviseMachine, model="Plover 81", opened_version=1)
    after = packed(bench, tmp_path / "b")

    assert before.read("record.json") != after.read("record.json")


@pytest.mark.parametrize(
    ("tag", "plain"), [("TM-03", "TM-03"), ("../x y", "x-y"), ("日本", "machine"), ("a" * 99, "a" * 60)]
)
def test_a_tag_becomes_a_name_that_any_system_takes(tag: str, plain: str) -> None:
    assert plain_name(tag) == plain
