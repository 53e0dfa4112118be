"""The person at the scale: what is typed for the pieces on the tray, with the slips people make."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise

from sim.faults import Faults


def typed(shown_kg: Mapping[int, float], faults: Faults) -> dict[int, float | None]:
    """Return what is typed for each portion [kg], None for one that was missed.

    Arguments: shown_kg: what the scale showed by portion [kg], in the order of the tray. faults: of
    the bench; of them only those count that a person makes by hand.
    """
    out: dict[int, float | None] = dict(shown_kg)
    slips = {number: faults.at(number) for number in shown_kg}
    for number, mass_kg in shown_kg.items():
        if "missed-weight" in slips[number]:
            out[number] = None
        elif "mistyped-weight" in slips[number]:
            out[number] = mass_kg * slips[number]["mistyped-weight"]
    for this, following in pairwise(shown_kg):
        if "swapped-weights" in slips[this]:
            out[this], out[following] = out[following], out[this]
    return out
