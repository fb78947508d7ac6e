"""A circuit as drawings: its elements between its nodes, and its voltages as a source is turned down.

Pure functions, as in `pictures`: plain values go in, a `Picture` comes out. They must know no record.

A node is a level line, an element a post that stands on the lines of its nodes with a dot on each: so no two lines
cross without meaning, however many there are.
"""

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from server.documents.drawing import (
    LEFT,
    LINE,
    RIGHT,
    Block,
    Curve,
    Picture,
    Scale,
    Shape,
    Stroke,
    Words,
    figure,
    interval,
    listed,
    marks,
    ruler,
    scale_for,
    shape,
    with_unit,
)

POSTS_A_ROW = 7
NAMES_WIDE, POST_WIDE = 84.0, 55.0
LANE = 38.0
LETTERS_OF_NODE, LETTERS_OF_ELEMENT = 7, 5
# The mark on an element's post, by kind; a diode's points to its cathode.
MARKS = {
    "resistor": ("square", False), "capacitor": ("bar", True), "source": ("circle", False), "current": ("circle", True),
    "output": ("square", True), "npn": ("diamond", False), "pnp": ("diamond", True), "closed": ("cross", False),
    "open": ("cross", False),
}  # fmt: skip
MARK_WORDS = (
    "Open square: resistor. Filled square: logic output. Open circle: voltage source. Filled circle: current source. "
    "Triangle: diode or Zener diode, pointing to its cathode. Open diamond: NPN transistor, filled: PNP, with c, b and "
    "e at its ends. Bar: capacitor. Cross: switch."
)
NODE_MARKS = (("circle", True), ("square", False), ("up", True))
PLOT_HIGH = 190.0
LETTER_WIDE = 8.5


class Post(NamedTuple):
    """An element: its kind by its short name, and its nodes in order."""

    name: str
    kind: str
    nodes: Sequence[str]


class Swept(NamedTuple):
    """A node's voltage along a sweep: nominal, and the ends of its 95 % interval."""

    node: str
    nominal: Sequence[float]
    low: Sequence[float]
    high: Sequence[float]


class Stretch(NamedTuple):
    """Where a question's answer is yes: each end with its 95 % interval, and the number of the question."""

    question: int
    low: tuple[float, float, float]
    high: tuple[float, float, float]


# ---- The graph ----


def graph_view(key: str, posts: Sequence[Post], reference: str) -> Picture:
    """Elements as posts between their nodes' lines, in rows of a few; the reference lies lowest."""
    strokes: list[Stroke] = []
    shapes: list[Shape] = []
    words: list[Words] = []
    y = 0.0
    for first in range(0, len(posts), POSTS_A_ROW):
        row = posts[first : first + POSTS_A_ROW]
        lanes = _lanes(row, reference, y + LINE + 14)
        right = NAMES_WIDE + POST_WIDE * len(row)
        for node, lane in lanes.items():
            strokes.append(Stroke("axis", NAMES_WIDE, lane, right, lane))
            words.append(Words("figure", LEFT, lane + 5, "start", _short(node, LETTERS_OF_NODE)))
        for place, post in enumerate(row):
            x = NAMES_WIDE + POST_WIDE * (place + 0.5)
            words.append(Words("name", x, y + LINE - 4, "middle", _short(post.name, LETTERS_OF_ELEMENT)))
            strokes += _post(post, lanes, x)
            shapes += _marks_of(post, lanes, x)
            words += _letters(post, lanes, x)
        y = max(lanes.values()) + LINE
    nodes = dict.fromkeys(node for post in posts for node in post.nodes)
    return Picture(
        key=key,
        title=f"{len(posts)} elements between {len(nodes)} nodes",
        description=f"{'; '.join(_told(post) for post in posts)}. {MARK_WORDS}",
        height=y + 4,
        strokes=tuple(strokes),
        blocks=(),
        shapes=tuple(shapes),
        words=tuple(words),
    )


def _lanes(row: Sequence[Post], reference: str, top: float) -> dict[str, float]:
    """A height for each node of these elements, in the order in which they come; the reference's is the last."""
    nodes = dict.fromkeys(node for post in row for node in post.nodes)
    ordered = [node for node in nodes if node != reference] + [node for node in nodes if node == reference]
    return {node: top + LANE * place for place, node in enumerate(ordered)}


def _post(post: Post, lanes: Mapping[str, float], x: float) -> list[Stroke]:
    heights = [lanes[node] for node in post.nodes]
    return [Stroke("interval", x, min(heights), x, max(heights))]


def _middle(post: Post, lanes: Mapping[str, float]) -> float:
    """Between two neighbouring lines, so that no dot lies under the mark."""
    return min(lanes[node] for node in post.nodes) + LANE / 2


def _marks_of(post: Post, lanes: Mapping[str, float], x: float) -> list[Shape]:
    dots = [
        Shape("filled", x, lanes[node], "M-3.5 0a3.5 3.5 0 1 0 7 0a3.5 3.5 0 1 0 -7 0z") for node in set(post.nodes)
    ]
    if post.kind in ("diode", "zener"):
        anode, cathode = (lanes[node] for node in post.nodes)
        return [*dots, shape("down" if cathode > anode else "up", post.kind == "diode", x, _middle(post, lanes))]
    outline, filled = MARKS[post.kind]
    return [*dots, shape(outline, filled, x, _middle(post, lanes))]


def _letters(post: Post, lanes: Mapping[str, float], x: float) -> list[Words]:
    """c, b and e at the ends of a transistor, + at the upper end of a source."""
    letters = {"npn": "cbe", "pnp": "cbe", "source": "+", "current": ">"}.get(post.kind, "")
    places: dict[str, str] = {}
    for letter, node in zip(letters, post.nodes, strict=False):
        places[node] = places.get(node, "") + letter
    return [Words("tick", x + 7, lanes[node] - 5, "start", letter) for node, letter in places.items()]


def _told(post: Post) -> str:
    return (
        f"{post.name} from {' to '.join(post.nodes)}"
        if len(post.nodes) == 2
        else f"{post.name} at {listed(post.nodes)}"
    )


def _short(name: str, most: int) -> str:
    return name if len(name) <= most else f"{name[: most - 1]}…"


# ---- The sweep ----


def sweep_view(
    key: str,
    case: str,
    source: tuple[str, str],
    values: Sequence[float],
    nodes: Sequence[Swept],
    stretches: Sequence[Stretch],
    ends: tuple[float, float],
) -> Picture:
    """Voltages of nodes along a source in one case, with where the answers are yes above them.

    `source` is its name and unit, `ends` the least and the most voltage to draw: the same for every case.
    """
    questions = sorted({stretch.question for stretch in stretches})
    lanes = {question: LINE * (2.4 + place * 2.0) for place, question in enumerate(questions)}
    top = LINE * (1.6 + 2.0 * len(questions)) + 6
    foot = top + PLOT_HIGH
    up = scale_for(ends)
    up = Scale(up.low, up.high, foot, top)
    left = LEFT + 11.0 * max(len(text) for _, text in marks(up)) + 6
    across = Scale(min(values), max(values), left, RIGHT)
    axis, figures = ruler(across, foot, f"{source[0]}, {source[1]}; it falls from right to left")
    strokes, words = _upright(up, left)
    curves: list[Curve] = []
    shapes: list[Shape] = []
    for place, node in enumerate(nodes):
        curves += [_band(node, values, across, up), Curve("trace", _path(values, node.nominal, across, up))]
        mark = NODE_MARKS[place % len(NODE_MARKS)]
        shapes += _marks_along(mark, place, node, values, across, up)
        x = left + place * (RIGHT - left) / max(len(nodes), 1)
        shapes.append(shape(*mark, x + 6, LINE - 10))
        words.append(Words("name", x + 18, LINE - 4, "start", _short(node.node, 9)))
    blocks = [_bar(stretch, lanes[stretch.question], across) for stretch in stretches]
    spans = [Words("limit", left, y - 10, "start", _spans(question, stretches)) for question, y in lanes.items()]
    for stretch in stretches:
        strokes += _ends(stretch, lanes[stretch.question], across, foot, spans)
    words += spans
    return Picture(
        key=key,
        title=f"{case.capitalize()}: {listed([node.node for node in nodes])} as {source[0]} falls",
        description=_told_sweep(case, source, values, nodes, stretches),
        height=foot + 2 * LINE + 8,
        strokes=(*strokes, *axis),
        blocks=tuple(blocks),
        shapes=tuple(shapes),
        words=(*words, *figures),
        curves=tuple(curves),
    )


def _upright(up: Scale, left: float) -> tuple[list[Stroke], list[Words]]:
    strokes = [Stroke("axis", left, up.last, left, up.first)]
    words = []
    for y, text in marks(up):
        strokes.append(Stroke("tick", left - 6, y, left, y))
        words.append(Words("tick", left - 9, y + 5, "end", text))
    return strokes, words


def _path(values: Sequence[float], volts: Sequence[float], across: Scale, up: Scale) -> str:
    return f"M{'L'.join(f'{across.at(x):.1f} {up.at(y):.1f}' for x, y in zip(values, volts, strict=True))}"


def _band(node: Swept, values: Sequence[float], across: Scale, up: Scale) -> Curve:
    there = _path(values, node.low, across, up)
    back = _path([*reversed(values)], [*reversed(node.high)], across, up)
    return Curve("band", f"{there}L{back[1:]}Z")


def _marks_along(
    mark: tuple[str, bool], place: int, node: Swept, values: Sequence[float], across: Scale, up: Scale
) -> list[Shape]:
    points = range(4 + 4 * place, len(values), 14)
    return [shape(*mark, across.at(values[point]), up.at(node.nominal[point])) for point in points]


def _bar(stretch: Stretch, y: float, across: Scale) -> Block:
    left, right = across.at(stretch.low[0]), across.at(stretch.high[0])
    return Block("beyond", left, y - 6, round(max(right - left, 1.0), 2), 12.0)


def _ends(stretch: Stretch, y: float, across: Scale, foot: float, spans: Sequence[Words]) -> list[Stroke]:
    """A dashed line down from each end of the bar, and each end's interval under it."""
    strokes = []
    for nominal, low, high in (stretch.low, stretch.high):
        strokes += _down(across.at(nominal), y, foot, spans)
        strokes += interval(across, low, high, y + 12) if high > low else []
    return strokes


def _down(x: float, y: float, foot: float, spans: Sequence[Words]) -> list[Stroke]:
    """A dashed line that leaves out the words of the questions below it."""
    strokes, begin = [], y
    for words in spans:
        if words.y > y and words.x - 4 < x < words.x + LETTER_WIDE * len(words.text) + 4:
            strokes.append(Stroke("limit", x, begin, x, words.y - LINE + 4))
            begin = words.y + 4
    return [*strokes, Stroke("limit", x, begin, x, foot)]


def _spans(question: int, stretches: Sequence[Stretch]) -> str:
    """`Question 1: 1.201 to 7.699`."""
    own = sorted(one for one in stretches if one.question == question)
    spans = (f"{figure(_four(one.low[0]))} to {figure(_four(one.high[0]))}" for one in own)
    return f"Question {question}: {', '.join(spans)}"


def _told_sweep(
    case: str, source: tuple[str, str], values: Sequence[float], nodes: Sequence[Swept], stretches: Sequence[Stretch]
) -> str:
    high, low = max(values), min(values)
    span = f"As {source[0]} falls from {figure(high)} to {with_unit(figure(low), source[1])}"
    parts = [
        f"{node.node} goes from {figure(_four(node.nominal[0]))} to {with_unit(figure(_four(node.nominal[-1])), 'V')}"
        for node in nodes
    ]
    answered = [
        f" Question {one.question}: yes from {figure(_four(one.high[0]))} down to "
        f"{with_unit(figure(_four(one.low[0])), source[1])}."
        for one in sorted(stretches, key=lambda one: (one.question, -one.high[0]))
    ]
    return f"{case.capitalize()}. {span}, {'; '.join(parts)}.{''.join(answered)}"


def _four(number: float) -> float:
    return float(f"{number:.4g}")
