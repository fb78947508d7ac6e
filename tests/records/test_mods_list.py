"""A list of mods is read whichever way it was kept, and each line that will not do says why."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.records.errors import Invalid
from server.records.list_kinds import MODS
from server.records.list_table import read_table
from server.records.list_words import folded
from server.records.mod_words import MOD_OFFERED, MOD_WORDS
from server.records.mods_list import ModRow, read_mods
from server.records.words import Aim, Hazard, ModState, StepKind


def mods_of(text: str) -> list[ModRow]:
    return read_mods(read_table(text, MODS))


def reasons(text: str) -> list[tuple[int, str]]:
    rows = mods_of(text)
    assert all((row.mod is None) == bool(row.bad) for row in rows)
    return [(line.line, line.reason) for row in rows for line in row.bad]


def test_a_line_is_a_mod_in_the_record_s_own_words() -> None:
    (row,) = mods_of(
        "Modification;Status;Date;By;Why;Notes;Result;Hazards;Type of work\n"
        "Quieter fan;Done;12.3.2019;Ada;It hums;;Silent;Mains, ESD;repair\n"
    )

    assert row.mod
    assert (row.mod.title, row.mod.state, row.mod.day) == ("Quieter fan", ModState.FITTED, date(2019, 3, 12))
    assert (row.mod.purpose, row.mod.reasoning, row.mod.outcome) == ("It hums", "", "Silent")
    assert row.mod.hazards == [Hazard.MAINS_INSIDE, Hazard.STATIC]
    assert (row.mod.aim, row.mod.signer, row.mod.steps) == (Aim.REMEDY, "Ada", [])


def test_a_mod_of_which_only_the_title_is_said_is_considered() -> None:
    """The weakest word there is: nothing is claimed that the list does not say."""
    (row,) = mods_of("title,notes\nFaster clock,\n")

    assert row.mod
    assert row.mod.state is ModState.CONSIDERED
    assert row.mod.model_fields_set == {"title"}


def test_a_line_can_tell_of_one_step() -> None:
    (row,) = mods_of("title,board,ref,act,pin,step\nFaster,Main board,U7,Cut track,3,Under the chip\n")

    assert row.mod
    (step,) = row.mod.steps
    assert (step.kind, step.board, step.designator, step.pin) == (StepKind.CUT_TRACE, "Main board", "U7", "3")
    assert step.instruction == "Under the chip"


def test_a_step_without_an_act_is_some_other_work() -> None:
    (row,) = mods_of("title,how\nFaster,Turn the screw\n")

    assert row.mod
    assert [step.kind for step in row.mod.steps] == [StepKind.OTHER]


def test_a_board_alone_is_no_step() -> None:
    """Lists have it as the place of the whole mod."""
    (row,) = mods_of("title,board\nFaster,Main board\n")

    assert row.mod
    assert row.mod.steps == []


@pytest.mark.parametrize(
    "text",
    [
        "no,title,step\n7,Faster,one\n7,,two\n7,Faster,three\n",
        "title,step\nFaster,one\nfaster ,two\nFASTER,three\n",
        "no,title,step\n7,Faster,one\n,Faster,two\n7,,three\n",
    ],
)
def test_lines_with_the_same_number_or_title_are_steps_of_one_mod(text: str) -> None:
    (row,) = mods_of(text)

    assert row.mod
    assert [step.instruction for step in row.mod.steps] == ["one", "two", "three"]
    assert row.lines == [2, 3, 4]


def test_one_title_under_two_numbers_is_two_mods() -> None:
    assert [row.lines for row in mods_of("no,title\n1,New fuse\n2,New fuse\n")] == [[2], [3]]


def test_further_lines_may_say_the_same_of_the_mod_again() -> None:
    (row,) = mods_of("title,state,step\nFaster,done,one\nFaster,done,two\n")

    assert row.mod
    assert len(row.mod.steps) == 2


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("title,step\n,one\n", [(2, "No title says which mod this line tells of.")]),
        ("no,title,step\n3,,one\n", [(2, "No title says which mod this line tells of.")]),
        ("no,title,step\n3,A,one\n3,B,two\n", [(3, "Number 3 is “A” in line 2.")]),
        (
            "title,state,step\nA,done,one\nA,idea,two\n",
            [(3, "It gives another state than line 2, which tells of the same mod.")],
        ),
        ("title,note\nA,x\nA,x\n", [(3, "It says nothing that line 2, which tells of the same mod, does not say.")]),
        (
            "title,state\nA,gone\n",
            [(2, "State: “gone” is none of: considered, planned, fitted, undone, dropped.")],
        ),
        ("title,day\nA,1/2/2020\n", [(2, "Day: “1/2/2020” can be read in two ways. Write the day as year-month-day,")]),
        ("title,day\nA,45000\n", [(2, "Day: Write the day as year-month-day, such as 1981-09-30.")]),
        ("title,day\nA,2999-01-01\n", [(2, "Day: 2999-01-01 is still to come.")]),
        ("title,day\nA,2019-02-30\n", [(2, "Day: There is no day 2019-02-30 in the calendar.")]),
        ("title,hazards\nA,sharks\n", [(2, "Hazards: “sharks” is none of: display tube,")]),
        ("title,act\nA,x\nB,weld\n", [(2, "Kind: “x” is none of: take out,"), (3, "Kind: “weld” is none of:")]),
        (f"title\n{'x' * 301}\n", [(2, "Title: This is 301 characters long")]),
        ("title\na\x01b\n", [(2, "Title: Character 2 is a control character")]),
        ("title,purpose\nA,b,c\n", [(2, "The line has 3 cells under 2 headings")]),
        ("title,purpose\nA,#REF!\n", [(2, "Purpose: under “purpose” a formula came to #REF!.")]),
    ],
)
def test_a_bad_line_says_why(text: str, said: list[tuple[int, str]]) -> None:
    found = reasons(text)

    assert [line for line, _ in found] == [line for line, _ in said]
    assert all(sentence.startswith(begins) for (_, sentence), (_, begins) in zip(found, said, strict=True))


def test_one_bad_line_spoils_its_own_mod_alone() -> None:
    rows = mods_of("title,act,step\nA,cut,one\nA,weld,two\nB,cut,one\n")

    assert [row.mod is None for row in rows] == [True, False]


def test_no_hazard_is_none() -> None:
    rows = mods_of("title;hazards\nA;none\nB;no\nC;static, static\n")

    assert [row.mod.hazards for row in rows if row.mod] == [[], [], [Hazard.STATIC]]


def test_a_list_without_titles_says_what_it_found() -> None:
    with pytest.raises(Invalid) as problem:
        mods_of("purpose,outcome\nA,B\n")
    assert "No column says what each mod is called." in problem.value.messages["text"]
    assert "“purpose”, “outcome”" in problem.value.messages["text"]


def test_every_word_of_the_trade_is_reachable() -> None:
    """A word with case or punctuation in its entry would never be found; one of two meanings would be found wrongly."""
    for name, words in MOD_WORDS.items():
        assert list(words) == [folded(word) for word in words]
        assert set(words.values()) == {word.value for word in MOD_OFFERED[name]}
        assert all(words[word.value] == word.value for word in MOD_OFFERED[name])


def test_ten_thousand_lines_are_read() -> None:
    rows = mods_of("title,step\n" + "".join(f"Mod {number},x\n" for number in range(10_000)))

    assert len(rows) == 10_000
    assert all(row.mod for row in rows)


def test_a_list_of_too_many_lines_is_refused() -> None:
    with pytest.raises(Invalid) as problem:
        mods_of("title\n" + "".join(f"Mod {number}\n" for number in range(20_100)))
    assert "more than 20,000 rows" in problem.value.messages["text"]


@given(st.text(max_size=300))
def test_any_text_is_read_or_refused_in_words(text: str) -> None:
    """Whatever is pasted: mods, each with what it says or a reason, or one sentence about the list."""
    try:
        rows = mods_of(f"title,number,state,day,hazards,step,done on\n{text}")
    except Invalid as refused:
        assert refused.messages["text"]  # noqa: PT017 (either outcome is right)
    else:
        assert all((row.mod is None) == bool(row.bad) for row in rows)
        assert all(line.reason for row in rows for line in row.bad)
