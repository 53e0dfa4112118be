"""The parts that pages for a browser are made of. A page stands alone: no script, no network, and
whatever a journal says is shown as text."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from html import escape

from benchd.cli.page_style import STYLE

HANDS = (
    "Before hands go near: relieve, drive off, air shut and vented, gauge at zero. Treat pressure, "
    "blade and drive as live all the same."
)
UNCONTROLLED = re.compile(r"[^\S\n]|[\x00-\x08\x0e-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")
"""Other blanks than line ends, and signs that no page shows or that turn the text around."""


def document(title: str, body: Iterable[str]) -> str:
    """Return a whole page of these parts, the empty ones left out."""
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        '<meta http-equiv="Content-Security-Policy" '
        "content=\"default-src 'none'; style-src 'unsafe-inline'\">\n"
        f"<title>{t(title)}</title>\n<style>{STYLE}</style>\n</head>\n<body>\n<main>\n"
        + "\n".join(part for part in body if part)
        + "\n</main>\n</body>\n</html>\n"
    )


def t(text: object) -> str:
    """Return a text as a page may hold it."""
    return escape(UNCONTROLLED.sub(" ", str(text)))


def section(title: str, inner: str) -> str:
    """Return a part with a heading; "" where there is nothing in it."""
    return f"<section>\n<h2>{t(title)}</h2>\n{inner}\n</section>" if inner else ""


def listed(texts: Iterable[str], kind: str = "ul") -> str:
    """Return a list of texts."""
    return f"<{kind}>{''.join(f'<li>{t(text)}</li>' for text in texts)}</{kind}>"


def pairs(rows: Iterable[tuple[str, str]]) -> str:
    """Return names with what is said of each; those of which nothing is said are left out."""
    inner = "".join(f"<dt>{t(name)}</dt><dd>{t(text)}</dd>" for name, text in rows if text)
    return f"<dl>{inner}</dl>"


def table(
    head: Sequence[str], rows: Iterable[tuple[bool, Sequence[str]]], kind: str = "numbers"
) -> str:
    """Return a table; each row says whether it is told in bold. kind: numbers, or words."""
    inner = ""
    for far, cells in rows:
        bold = ' class="far"' if far else ""
        inner += f"<tr{bold}>{''.join(f'<td>{t(cell)}</td>' for cell in cells)}</tr>"
    heads = "".join(f'<th scope="col">{t(cell)}</th>' for cell in head)
    body = f"<thead><tr>{heads}</tr></thead><tbody>{inner}</tbody>"
    return f'<table class="{kind}">{body}</table>'


def figure(svg: str, caption: str) -> str:
    """Return a drawing with what it shows; "" where there is none."""
    return f"<figure>{svg}<figcaption>{t(caption)}</figcaption></figure>" if svg else ""


def utc(wall_us: int | None) -> str:
    """Return a time of day [us since 1970] to the minute."""
    if wall_us is None:
        return "time not known"
    return f"{datetime.fromtimestamp(wall_us / 1e6, UTC):%Y-%m-%d %H:%M} UTC"
