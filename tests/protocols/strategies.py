"""Messages to try: any that SPEC.md allows, made from the fields of the classes themselves."""

from __future__ import annotations

import string
from typing import Any

from hypothesis import strategies as st

from protocols.codec import Number, Word
from protocols.messages import MESSAGES, HostMessage, Message, Spec

WORD_CHARACTERS = string.ascii_letters + string.digits + ".-"


def values(field: Number | Word) -> st.SearchStrategy[Any]:
    """Values that a field may carry, its ends included."""
    if isinstance(field, Word):
        return st.text(WORD_CHARACTERS, min_size=1, max_size=field.length)
    return st.integers(field.low, field.high)


def messages_of(spec: Spec) -> st.SearchStrategy[Message]:
    """Messages of one class."""
    return st.builds(spec.cls, *(values(field) for _, field in spec.fields))


ANY_MESSAGE = st.sampled_from(list(MESSAGES.values())).flatmap(messages_of)
BOARD_MESSAGE = st.sampled_from(
    [spec for spec in MESSAGES.values() if not issubclass(spec.cls, HostMessage)]
).flatmap(messages_of)


def ends(spec: Spec) -> list[Message]:
    """One message with every field at its low end and one at its high end; words short and long."""
    return [
        spec.cls(*("a" if isinstance(f, Word) else f.low for _, f in spec.fields)),
        spec.cls(*("z" * f.length if isinstance(f, Word) else f.high for _, f in spec.fields)),
    ]


def plain(spec: Spec) -> Message:
    """A message with unlike values in the middle of their ranges."""
    return spec.cls(
        *(
            f"w{place}" if isinstance(f, Word) else f.low + (f.high - f.low) * (place + 1) // 17
            for place, (_, f) in enumerate(spec.fields)
        )
    )
