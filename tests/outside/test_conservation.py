"""What published practice in conservation asks of a record, against a filled machine: `data/conservation.json`.

Each case keeps the text of its source and whether it was seen or is from memory. What is asked has its field, and what
leaves the house carries it: the mod sheet and the record as JSON.
"""

import json
import re
from collections.abc import Callable, Iterator
from dataclasses import asdict
from hashlib import sha256
from html import unescape
from pathlib import Path

import bagit
import pytest

from server.documents.record import canonical, digest
from server.records import checks
from server.records.aims import CALLED, in_words
from server.records.cautions import CAUTIONS
from server.records.commands.mods import MoveMod, PlanMod
from server.records.commands.steps import AddStep
from server.records.commands.trials import RecordTrial
from server.records.errors import Invalid
from server.records.tables import Mod
from server.records.words import Aim
from tests.documents.invented import KEEPER, TAG
from tests.documents.test_pdf import flat, text_of
from tests.outside.filled_machine import MARK, MATTERS, Example, filled

_DATA = json.loads(Path(__file__).with_name("data").joinpath("conservation.json").read_text("utf-8"))
_CASES: dict[str, dict[str, str]] = {case["case_id"]: case for case in _DATA["cases"]}

# What is read by programs, or stands for a picture where it cannot be seen.
NOT_PRINTED = {"digest", "sha256", "alt", "picture"}
BASE = f"/machines/{TAG}"


@pytest.fixture(scope="module")
def example(fresh_file: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Example]:
    with filled(fresh_file, tmp_path_factory.mktemp("conservation")) as example:
        yield example


def _of_dossier(example: Example, name: str) -> bytes:
    return (example.dossier / "data" / name).read_bytes()


# ---- What each requirement comes to ----


def aic_24_always(example: Example) -> None:
    """Every row answers to a journal entry; a mod is not fitted without who and when."""
    with example.bench.store.reading() as session:
        assert list(checks.faults(session, example.bench.store.files)) == []
    with pytest.raises(Invalid) as refusal:
        MoveMod.read({"machine": TAG, "mod": 4, "state": "fitted"})
    assert refusal.value.messages.keys() == {"day", "signer"}
    assert example.record["journal"]["seq"] > 0


def aic_24_who_when_why(example: Example) -> None:
    """Why, who and when stand on the sheet; where the why is not written down, the sheet says so."""
    told = example.sheet.in_force[0]
    assert (told.purpose_text, told.signed, told.day) == (example.mod(1)["purpose"], KEEPER, "2025-02-03")
    assert "Mod 2: what it is for is not written down." in example.sheet.not_known
    assert all(trial["day"] and trial["signer"] for trial in example.record["trials"])
    assert {"day", "signer"} <= example.refuses(RecordTrial, procedure="picture-level", readings="1").keys()


def aic_24_identity(example: Example) -> None:
    sheet, machine = example.sheet, example.record["machine"]
    facts = dict(sheet.facts)
    assert (sheet.tag, sheet.named) == (TAG, "Wherrymoor Plover 80 with the second drive")
    assert (facts["Serial number"], facts["Keeper"], facts["Made"]) == ("00417", KEEPER, "1982~")
    assert [board.marks for board in sheet.boards] == ["revision C", "part number SP-2"]
    assert machine["provenance"] == sheet.provenance_text != ""
    assert MARK in {part["marking"] for part in example.record["parts"]}


def aic_24_labelled_parts(example: Example) -> None:
    """A photograph names the entry of the same record that it shows, its caption, day and digest; no file of a dossier
    is without an entry that names it."""
    photograph = example.record["photographs"][0]
    assert photograph["on_uuid"] in {symptom["uuid"] for symptom in example.record["symptoms"]}
    assert (photograph["caption"], photograph["taken_on"]) == ("Faint", "2025-03-14")
    assert len(photograph["sha256"]) == len(photograph["sent_sha256"]) == 64
    within = {sha256(place.read_bytes()).hexdigest() for place in (example.dossier / "data/photographs").iterdir()}
    assert within == {one["sha256"] for one in example.record["photographs"]}


def aic_25_condition_before(example: Example) -> None:
    """In words, in figures and in pictures: as it was found, and before each mod, or that no picture of it exists."""
    assert example.sheet.as_found_text == example.record["machine"]["as_found"] != ""
    assert example.sheet.trials[0].before is not None
    assert example.sheet.bags[0].condition == "legs a little short"
    assert all("condition" in part for part in example.record["parts"])
    found, first, second = example.sheet.album, example.sheet.in_force[0].album, example.sheet.in_force[1].album
    assert found
    assert first
    assert second
    assert [(one.place, one.caption) for one in found.shown] == [("The machine", "On the bench as it came")]
    assert [one.place for one in first.shown] == ["Before, step 1", "At step 1", "After, step 2"]
    assert (second.shown, second.notes) == ((), ("No photograph from before it or from after it exists.",))
    assert all(words in example.paper for words in ("On the bench as it came", "Before, step 1.", *second.notes))


def aic_26_plan(example: Example) -> None:
    """What was planned stays beside what was done."""
    mod = example.mod(1)
    assert [move["state"] for move in mod["moves"]] == ["planned", "fitted"]
    assert [step["planned_value"] for step in mod["steps"]] == ["", "300 Ω"]
    assert mod["expectations"]
    assert example.mod(2)["hazards"]
    assert [one["limits"] != [] for one in example.record["calculations"] if one["mod"] == mod["uuid"]] == [True]


def aic_27_hidden(example: Example) -> None:
    """A step carries photographs of how its place was before and while it lay open, and the sheet shows both."""
    steps = [one for one in example.record["photographs"] if one["on_uuid"] == example.mod(1)["steps"][0]["uuid"]]
    assert [one["moment"] for one in steps] == ["before", ""]
    album = example.sheet.in_force[0].album
    assert album
    assert {one["sha256"] for one in steps} < {one.sha256 for one in album.shown}
    page = example.client.get(f"{BASE}/sheet").text
    assert all(f'src="/photographs/{one["sha256"]}/480"' in page for one in steps)
    assert "At step 1. The pads under R7." in example.paper


def aic_27_dated_actions(example: Example) -> None:
    steps = [step for mod in (*example.sheet.in_force, *example.sheet.undone) for step in mod.steps]
    assert len(steps) == 8
    assert all(step.day and step.by == KEEPER for step in steps)
    done = [step for mod in example.record["mods"] for step in mod["steps"]]
    assert all(step["done_on"] and step["done_by"] for step in done)


def aic_27_deviation(example: Example) -> None:
    assert example.sheet.in_force[0].steps[1].words == (
        "Fitted 330 Ω ±1 % resistor (new) at R7 on Main board; planned was 300 Ω"
    )
    runs = example.record["calculations"][0]["runs"]
    assert runs[-1]["cases"].keys() == {"stock", "as planned", "as fitted"}


def aic_27_added_removed(example: Example) -> None:
    """Each part in and each part out, with where it is now."""
    words = [step.words for step in example.sheet.in_force[0].steps]
    assert words[0] == "Took the 360 Ω ±5 % resistor (original) out of R7 on Main board, into bag 1"
    assert (example.sheet.bags[0].bag, example.sheet.bags[0].part) == (1, "360 Ω ±5 % resistor")
    assert any("discarded on 2025-03-08" in sentence for sentence in example.sheet.missing)
    assert {storage["bag"] for storage in example.record["storages"]} >= {1}


def aic_27_after(example: Example) -> None:
    """The last state of its place in a picture, the trial after it, and whether it did what was expected."""
    assert example.sheet.trials[0].after.figures
    assert example.sheet.in_force[0].expectations[0].verdict == "met"
    album, undone = example.sheet.in_force[0].album, example.sheet.undone[0].album
    assert album
    assert undone
    assert (album.shown[-1].place, album.shown[-1].caption) == ("After, step 2", "330 Ω in its place")
    assert undone.notes == ("No photograph from before it or from after it exists.",)
    assert "After, step 2. 330 Ω in its place." in example.paper


def aic_27_report(example: Example) -> None:
    """The sheet is made from the record, whose digest stands on it."""
    page = example.client.get(f"{BASE}/sheet").text
    assert digest(canonical(example.client.get(f"/api/v1{BASE}").json())) in page


def aic_27_computer_only(example: Example) -> None:
    """On paper by itself: the page without any script, and the PDF."""
    page = example.client.get(f"{BASE}/sheet").text
    content = page[page.index('id="content"') :]
    assert "What was done" in content
    assert "hx-" not in content
    assert example.client.get(f"{BASE}/sheet.pdf").content.startswith(b"%PDF")


def aic_28_preserve(example: Example) -> None:
    """The paper bears the record's digest, and the dossier can be verified elsewhere by another's program."""
    assert example.sheet.digest == digest(canonical(example.record))
    assert example.sheet.short_digest.replace(" ", "") == example.sheet.digest[:16]
    bagit.Bag(str(example.dossier)).validate()
    assert sha256(_of_dossier(example, "record.json")).hexdigest() == example.sheet.digest


def aic_28_uses(example: Example) -> None:
    """Any day, two days beside each other, and what would bring the machine back."""
    before, after = (example.client.get(f"{BASE}/on/{day}").text for day in ("2025-01-15", "2025-02-15"))
    assert ("360 Ω ±5 %" in before, "330 Ω ±1 %" in before) == (True, False)
    assert "330 Ω ±1 %" in after
    assert "it came" in example.client.get(f"{BASE}/on/2025-01-15?against=2025-02-15").text
    assert example.sheet.back


def aic_respect(example: Example) -> None:
    """What stays for good has its reason, in the record and on the sheet."""
    wanted = example.refuses(AddStep, mod=4, kind="drill or cut case")
    assert wanted == {"trace_reason": "This stays for good: write why nothing milder will do."}
    reason = example.mod(2)["steps"][0]["trace_reason"]
    assert reason
    assert reason in example.sheet.in_force[1].why


def aic_limits(example: Example) -> None:
    """Cautions stand before the work, and leave what is dangerous to trained people."""
    assert len(example.sheet.cautions) == 4
    assert any("licensed person under the code of the place" in sentence for sentence in example.sheet.cautions)
    assert sum("trained" in one or "licensed" in one or "qualified" in one for one in CAUTIONS.values()) == 3
    page = example.client.get(f"{BASE}/sheet").text
    assert page.index(example.sheet.cautions[0]) < page.index("What was done")


def aic_reversible(example: Example) -> None:
    """The trace is derived from the steps; a mod has no place to type one."""
    assert [mod.trace for mod in example.sheet.in_force] == ["solder only", "permanent"]
    assert not [name for name in Mod.model_fields if "trace" in name]


def aic_compensation(example: Example) -> None:
    assert "(new)" in example.sheet.in_force[0].steps[1].words
    assert {part["origin"] for part in example.record["parts"]} == {"original", "new", "unknown"}


def aic_removed_material(example: Example) -> None:
    """Kept, or said to be gone."""
    kept = {bag.part for bag in example.sheet.bags if bag.origin == "original"}
    assert kept == {"360 Ω ±5 % resistor"}
    assert len(example.sheet.missing) == 1
    assert example.sheet.bags[0].came_from == "R7 on Main board"


def aic_disclosure(example: Example) -> None:
    """What failed stays in sight, and so does what was taken for granted."""
    told = example.sheet.in_force[0]
    assert [one.verdict for one in told.expectations] == ["met", "not met"]
    assert told.sums[0].assumptions == ("The driver's own drop is small. Not tested",)
    assert told.sums[0].limits[0].basis


def icom_terms(example: Example) -> None:
    """Three terms of conservation and one that is none of them, each with a name and a meaning of its own."""
    assert example.mod(1)["aim"] == "remedy"
    assert len({in_words(aim) for aim in Aim}) == len(CALLED) == 4
    assert example.sheet.in_force[0].work == in_words(Aim.REMEDY)


def icom_documentation(example: Example) -> None:
    """The mod names the symptom it answers, which has its causes and what speaks for them."""
    symptom = next(one for one in example.record["symptoms"] if one["number"] == 1)
    assert example.mod(1)["symptom"] == symptom["uuid"]
    assert symptom["causes"][0]["evidence"]
    assert example.sheet.in_force[0].answers == "symptom 1, Faint picture"


def icom_significance(example: Example) -> None:
    assert example.sheet.significance_text == example.record["machine"]["significance"] == MATTERS
    assert MATTERS in example.client.get(f"{BASE}/sheet").text


def icom_restoration(example: Example) -> None:
    """It says what was lost."""
    planned = {"title": "As it was", "day": "2025-06-01", "signer": KEEPER, "aim": Aim.RESTORE}
    assert example.refuses(PlanMod, **planned).keys() == {"purpose"}


def turin_reversible(example: Example) -> None:
    """There is a way back, or a sentence that there is none."""
    assert [line.step for line in example.sheet.back][-1] == "Mod 1, step 1"
    assert [line.obstacle for line in example.sheet.no_way_back] == ["what was cleaned off does not come back"]


def turin_keep_parts(example: Example) -> None:
    """The sheet and the dossier that go along list what lies in bags."""
    handed_over = json.loads(_of_dossier(example, "record.json"))
    assert handed_over["storages"] == example.record["storages"]
    assert [bag.bag for bag in example.sheet.bags] == sorted(
        storage["bag"] for storage in example.record["storages"] if storage["until"] is None
    )


def turin_repair_terms(example: Example) -> None:
    """A repair is called one: without a mod that restores, no word of the sheet says so."""
    assert in_words(Aim.REMEDY).startswith("repair: ")
    assert "restor" in in_words(Aim.RESTORE)
    assert "restor" not in example.said.lower()
    assert not any("restor" in in_words(aim) for aim in Aim if aim is not Aim.RESTORE)


def turin_mark_new(example: Example) -> None:
    new = [part for part in example.record["parts"] if part["origin"] == "new"]
    assert MARK in [part["marking"] or part["note"] for part in new]


def turin_document(example: Example) -> None:
    """Steps as planned and as done, the journal's entries and where it stood, go with the machine."""
    told = {entry["act"] for entry in json.loads(_of_dossier(example, "journal.json"))}
    assert told >= {"plan mod", "add step", "carry out step"}
    assert _of_dossier(example, "mod-sheet.pdf").startswith(b"%PDF-")
    assert example.record["journal"].keys() == {"seq", "hash"}
    assert all("instruction" in step and "done_note" in step for mod in example.record["mods"] for step in mod["steps"])
    assert example.record["format"] == "putback-record/1"


CHECKS: dict[str, Callable[[Example], None]] = {
    check.__name__: check
    for check in (
        aic_24_always, aic_24_who_when_why, aic_24_identity, aic_24_labelled_parts, aic_25_condition_before,
        aic_26_plan, aic_27_hidden, aic_27_dated_actions, aic_27_deviation, aic_27_added_removed, aic_27_after,
        aic_27_report, aic_27_computer_only, aic_28_preserve, aic_28_uses, aic_respect, aic_limits,
        aic_reversible, aic_compensation,
        aic_removed_material, aic_disclosure, icom_terms, icom_documentation, icom_significance, icom_restoration,
        turin_reversible, turin_keep_parts, turin_repair_terms, turin_mark_new, turin_document,
    )
}  # fmt: skip


@pytest.mark.parametrize("name", sorted(CHECKS))
def test_what_published_practice_asks_is_in_the_record_and_on_paper(example: Example, name: str) -> None:
    """The source of each is in the data beside this file."""
    CHECKS[name](example)


def test_the_printed_sheet_says_all_of_it(example: Example, tmp_path: Path) -> None:
    """Every word that was held against a requirement above stands on the page and on paper."""
    page = flat(unescape(re.sub(r"<[^>]+>", "", example.client.get(f"{BASE}/sheet").text))).casefold()
    paper = flat(text_of(example.client.get(f"{BASE}/sheet.pdf").content, tmp_path)).casefold()

    said = [word for text in _texts(asdict(example.sheet)) for word in re.findall(r"[^\W\d_]{4,}", text.casefold())]

    assert len(said) > 200
    assert [word for word in said if word not in page] == []
    assert [word for word in said if word not in paper] == []


def _texts(told: object) -> Iterator[str]:
    if isinstance(told, dict):
        yield from (text for name, inner in told.items() if name not in NOT_PRINTED for text in _texts(inner))
    elif isinstance(told, list | tuple):
        yield from (text for inner in told for text in _texts(inner))
    elif isinstance(told, str):
        yield told


def test_every_requirement_is_answered() -> None:
    """Each with its source and whether that was seen; none is left out in silence."""
    assert CHECKS.keys() == _CASES.keys()
    assert all(case["source"] and case["status"] in ("SEEN", "MEMORY") for case in _CASES.values())
    assert all("from memory" in case["source"] for case in _CASES.values() if case["status"] == "MEMORY")
