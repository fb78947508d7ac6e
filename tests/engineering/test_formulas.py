"""What may stand in a line, what may not, and how quickly it is refused."""

from contextlib import suppress

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.engineering.arithmetic import FUNCTIONS
from server.engineering.errors import ForbiddenFormula, FormulaError, FormulaTooLarge, UnreadableFormula
from server.engineering.formulas import LONGEST, compile_line, is_name
from tests.effort import calls_in


@pytest.mark.parametrize(
    ("expression", "names"),
    [
        ("V / R", ("V", "R")),
        ("  (V1 - V2)/(R_1+R_2) ", ("V1", "V2", "R_1", "R_2")),
        ("-x**2 + +y", ("x", "y")),
        ("2**((T_max - T) / ten)", ("T_max", "T", "ten")),
        ("max(0, min(a, b, c))", ("a", "b", "c")),
        ("parallel(R1, R2) * ln(2.5e3) + sqrt(R1 * R1)", ("R1", "R2")),
        ("1 / (2 * pi * R * C)", ("R", "C")),
        ("b + a + b", ("b", "a")),
        (".5 + 1. + 1e3", ()),
        ("x**(1/3)", ("x",)),
        ("(" * 40 + "x" + ")" * 40, ("x",)),
    ],
)
def test_plain_arithmetic_is_let_through_with_its_names_in_order(expression: str, names: tuple[str, ...]) -> None:
    """Each name once; functions and pi are no names."""
    assert names == compile_line(expression).names


@pytest.mark.parametrize(
    "expression",
    [
        "__import__('os').system('true')",
        "().__class__.__bases__",
        "a.b",
        "a.__class__",
        "(1).real",
        "[1][0]",
        "x[0]",
        "lambda: 1",
        "a if b else c",
        "a < b",
        "a == b",
        "a and b",
        "not a",
        "{1: 2}",
        "{a}",
        "f'{a}'",
        "'text'",
        '"text"',
        "a := 1",
        "a = 1",
        "a; b",
        "a\nb",
        "a\\\nb",
        "a # b",
        "x // 2",
        "x % 2",
        "x @ y",
        "~x",
        "x | y",
        "x << 2",
        "eval(1)",
        "print(1)",
        "a(1)",
        "pi(2)",
        "sqrt(x)(2)",
        "min(*a)",
        "sqrt(x=1)",
        "sqrt()",
        "sqrt(1, 2)",
        "min(1)",
        "max(" + ",".join("abcdefghijklm") + ")",
        "sqrt",
        "sqrt + 1",
        "_x",
        "__class__",
        "True",
        "None",
        "lambda",
        "await x",
        "yield x",
        "import os",
        "",
        "   ",
        "a b",
        "2R",
        "3k3",
        "1,5 * R",
        "a, b",
        "0x1F",
        "0b1",
        "1_000",
        "2j",
        "1..2",
        "1.2.3",
        "1e5e5",
        "...",
        "(a",
        "a)",
        "a +",
        "R^2",
        "2 × R",
        "V − R",
        "V ÷ R",
        "√x",
        "π * r",
        "x²",
        "Ω",
        "аbc",
        "ｖ",
        "x\u200b",
        "\x00",
    ],
)
def test_anything_else_is_refused_at_its_place(expression: str) -> None:
    """Attributes, calls of others, strings, comparisons, look-alikes: refused before anything runs."""
    with pytest.raises((UnreadableFormula, ForbiddenFormula)) as refusal:
        compile_line(expression)

    assert expression.strip() == refusal.value.text
    assert 0 <= (refusal.value.position or 0) <= len(expression)
    assert refusal.value.sentence.isprintable()


def refused(expression: str) -> None:
    with suppress(FormulaError):
        compile_line(expression)


@pytest.mark.parametrize(
    "expression",
    [
        "9**9**9",
        "9**99",
        "2**(10**9)",
        "x**17",
        "x**-17",
        "x**1e300",
        "x**(9**9**9)",
        "x" + "**2" * 160,
        "1e999",
        "9" * 450,
        "a" * 100_000,
        "(" * 50_000 + "x" + ")" * 50_000,
        "(" * 190 + "x" + "+1)" * 100,
        "-" * 499 + "1",
        "+".join("x" * 240),
        "sqrt(" * 70 + "x" + ")" * 70,
    ],
    ids=lambda text: f"{text[:12]} {len(text)}",
)
def test_what_is_too_large_is_refused_with_little_effort(expression: str) -> None:
    """Its letters are looked at; no power is raised, and nothing is walked through twice and again."""
    compile_line.cache_clear()
    with pytest.raises(FormulaError) as refusal:
        compile_line(expression)
    compile_line.cache_clear()

    effort = calls_in(lambda: refused(expression))

    assert effort < 3_000
    assert isinstance(refusal.value, FormulaTooLarge | UnreadableFormula)
    assert len(refusal.value.text or "") <= LONGEST


@pytest.mark.parametrize(
    ("expression", "hint"), [("R^2", "**"), ("2 × R", "written *"), ("x²", "**2"), ("V − R", "minus")]
)
def test_a_near_miss_is_told_how_it_is_written(expression: str, hint: str) -> None:
    """Signs from print have their keyboard forms."""
    with pytest.raises(UnreadableFormula) as refusal:
        compile_line(expression)

    assert hint in refusal.value.sentence


def test_a_look_alike_letter_is_named_by_its_code() -> None:
    """A Cyrillic а cannot be told from a Latin one by eye."""
    with pytest.raises(ForbiddenFormula, match=r"U\+0430"):
        compile_line("а + b")


@pytest.mark.parametrize("name", ["V", "R_1", "V_out2", "x" * 40])
def test_letters_digits_and_underscores_make_a_name(name: str) -> None:
    """A letter first, at most forty."""
    assert is_name(name)


@pytest.mark.parametrize("name", ["", "1V", "_x", "V-1", "V out", "Ω", "x" * 41, "lambda", "if", "pi", *FUNCTIONS])
def test_nothing_else_makes_a_name(name: str) -> None:
    """A function's name and a word of the language neither."""
    assert not is_name(name)


@given(st.text(alphabet="abR1.e+-*/(),_ pimnxsqrt", max_size=40))
@settings(max_examples=100, deadline=None)
def test_any_text_is_let_through_or_refused_and_nothing_else(text: str) -> None:
    """And a formula runs, or refuses, on numbers for its names."""
    try:
        formula = compile_line(text)
    except FormulaError:
        return

    assert all(is_name(name) for name in formula.names)
