"""A keeper's Markdown as plain nested blocks that a document template can lay out without knowing Markdown.

Block   {"kind": "paragraph" | "heading", "spans": [span]} · {"kind": "list", "ordered", "start", "items": [[block]]}
        {"kind": "quote", "blocks": [block]} · {"kind": "code", "text"} · {"kind": "rule"}
        {"kind": "table", "columns", "head": [[span]], "cells": [[span]]}
Span    {"text", "strong", "em", "code"}; a text of one line feed is a break of the line.

HTML in the text is text. A link shows its address after its words; a picture its description.
"""

from collections.abc import Iterator
from functools import lru_cache
from typing import Any, Literal

from markdown_it import MarkdownIt
from markdown_it.tree import SyntaxTreeNode

Span = dict[str, Any]
Block = dict[str, Any]
Style = Literal["strong", "em", "code"]


@lru_cache
def _markdown() -> MarkdownIt:
    return MarkdownIt("commonmark", {"html": False, "linkify": False, "breaks": True}).enable("table")


def blocks(text: str) -> list[Block]:
    """The blocks of a Markdown text; none for none."""
    return list(_blocks(SyntaxTreeNode(_markdown().parse(text))))


def _blocks(parent: SyntaxTreeNode) -> Iterator[Block]:
    for node in parent.children:
        match node.type:
            case "paragraph" | "heading":
                yield {"kind": node.type, "spans": list(_spans(node))}
            case "bullet_list" | "ordered_list":
                yield {
                    "kind": "list",
                    "ordered": node.type == "ordered_list",
                    "start": int(node.attrs.get("start", 1)),
                    "items": [list(_blocks(item)) for item in node.children],
                }
            case "blockquote":
                yield {"kind": "quote", "blocks": list(_blocks(node))}
            case "fence" | "code_block":
                yield {"kind": "code", "text": node.content.rstrip("\n")}
            case "hr":
                yield {"kind": "rule"}
            case "table":
                yield _table(node)


def _table(node: SyntaxTreeNode) -> Block:
    rows = [[list(_spans(cell)) for cell in row.children] for part in node.children for row in part.children]
    return {
        "kind": "table",
        "columns": len(rows[0]),
        "head": rows[0],
        "cells": [cell for row in rows[1:] for cell in row],
    }


def _spans(node: SyntaxTreeNode, *styles: Style) -> Iterator[Span]:
    for child in node.children:
        match child.type:
            case "text":
                yield _span(child.content, *styles)
            case "code_inline":
                yield _span(child.content, *styles, "code")
            case "softbreak" | "hardbreak":
                yield _span("\n", *styles)
            case "strong" | "em":
                yield from _spans(child, *styles, child.type)
            case "link":
                yield from _spans(child, *styles)
                yield from _address(child, *styles)
            case "image":
                yield _span(child.content, *styles)
            case _:
                yield from _spans(child, *styles)


def _address(link: SyntaxTreeNode, *styles: Style) -> Iterator[Span]:
    address = str(link.attrs.get("href", ""))
    if address != "".join(span["text"] for span in _spans(link)):
        yield _span(f" ({address})", *styles)


def _span(text: str, *styles: Style) -> Span:
    return {"text": text, "strong": "strong" in styles, "em": "em" in styles, "code": "code" in styles}
