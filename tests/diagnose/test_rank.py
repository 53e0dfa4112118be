"""Causes are named alone only where what is fitted tells them from every other."""

from __future__ import annotations

import random

import pytest

from benchd.diagnose.causes import CAUSES
from benchd.diagnose.findings import Finding
from benchd.diagnose.rank import FAR, Opinion, chance, opinion, separable

NAMES = sorted({name for cause in CAUSES for name in (*cause.shows, *cause.rules_out)})


def found(rng: random.Random, share: float) -> tuple[Opinion, list[str]]:
    """What is said of a portion with a cause at random, and which findings were measured."""
    cause = rng.choice(CAUSES)
    known = [name for name in NAMES if rng.random() < share]
    told = {name: Finding(name, None, name) for name in NAMES}
    for name in known:
        told[name] = Finding(name, rng.random() < chance(cause, name), name)
    return opinion(told), known


@pytest.mark.parametrize("share", [0.2, 0.5, 1.0])
def test_none_is_named_alone_that_these_findings_seldom_tell_from_another(
    seed: int, share: float
) -> None:
    rng = random.Random(seed)
    alone = 0
    for _ in range(120):
        told, known = found(rng, share)
        if len(told.together) != 1:
            continue
        alone += 1
        (first,) = told.together
        for other in told.others:
            far = other.share * FAR < first.share
            assert far or separable(first.cause, other.cause, known), other.cause.code
    assert alone > 0


def test_without_any_finding_no_cause_is_told_from_another() -> None:
    assert not any(
        separable(one, other, ()) and one.common <= other.common
        for one in CAUSES
        for other in CAUSES
    )
