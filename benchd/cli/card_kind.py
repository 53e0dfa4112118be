"""Which kind of card a file is, so that the wrong one gets one sentence and not fifty."""

from __future__ import annotations

import re

from benchd.cli.command import Wrong

_EXAMPLES = {"bench": "bench.yaml", "dough": "masa.yaml"}


def expect(kind: str, text: str, path: str) -> None:
    """See that a card is not clearly one of the other kind, by the key that names it.

    Raises: Wrong with one sentence.
    """
    other = "dough" if kind == "bench" else "bench"
    named = {word for word in _EXAMPLES if re.search(rf"(?m)^{word}\s*:", text)}
    if named == {other}:
        raise Wrong(
            f"{path} is a {other} card; a {kind} card belongs here, such as {_EXAMPLES[kind]}."
        )
