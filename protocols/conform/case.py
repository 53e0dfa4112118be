"""What a case is, and how it says that something was heard which SPEC.md does not allow."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from protocols.conform.talk import Talk

KEPT, NOT_KEPT, NOT_TRIED, NOT_HEARD = "kept", "not kept", "not tried", "not heard"
"""Verdicts. Not tried: what the peer cannot do. Not heard: nothing can be said, for lateness."""


class Case(NamedTuple):
    """One thing that SPEC.md asks: a word for it, its section, what it asks, how to see it.

    `needs` is what the peer must be able to do (INPUTS, RESET, WRAP), and `by_hand` what a person
    does instead where it cannot. `try_it` raises NotKept.
    """

    name: str
    section: str
    asks: str
    try_it: Callable[[Talk], None]
    needs: frozenset[str] = frozenset()
    by_hand: str = ""


class Result(NamedTuple):
    """What came of a case: its number in the table, the verdict, and what was heard instead, or
    why it was not tried and how to do it by hand."""

    number: int
    name: str
    section: str
    asks: str
    verdict: str
    heard: str
