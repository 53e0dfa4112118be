"""`benchd trial`: two groups of portions beside each other, and what so few of them can show."""

from __future__ import annotations

import argparse
import json
import re
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from benchd.cli.command import OK, Parts, Usage, Wrong, say
from benchd.cli.judging import add_journals, read
from benchd.cli.progress import working

if TYPE_CHECKING:
    from benchd.analysis.trial import Side, Trial
    from benchd.analysis.weighed import Made

GROUP_TEXT = "a comparison group such as 3, portions such as 12-24, or tube=T7"
BY_HAND = {
    "air_pa": ("air", 1e-5, "bar"),
    "needle_turns": ("needle", 1.0, "turns"),
    "nozzle_m": ("nozzle", 1e3, "mm"),
}
"""Values set by hand: their word, factor and unit for a person."""


def _options(parser: argparse.ArgumentParser) -> None:
    add_journals(parser)
    parser.add_argument("a", metavar="A", help=GROUP_TEXT)
    parser.add_argument("b", metavar="B", help="the other, named in the same way")
    parser.add_argument(
        "--journal",
        action="append",
        default=[],
        help="path, or start of its name; may be given again; the newest if not given",
    )


def trial(options: argparse.Namespace) -> int:
    """Compare two groups; it changes and moves nothing."""
    import msgspec

    from benchd.analysis.trial import NoTrial
    from benchd.analysis.trial import trial as compared

    # Both are understood before a long journal is read.
    names = [name_of(text) for text in (options.a, options.b)]
    weighed = read(options.journal, options.bench)
    sides = [chosen(text, weighed.portions) for text in (options.a, options.b)]
    for name, side in zip(names, sides, strict=True):
        if not side:
            raise Wrong(f"No portion here belongs to {name}. {_there_are(weighed.portions)}")
    try:
        with working("The two groups are compared"):
            told = compared(names[0], sides[0], names[1], sides[1])
    except NoTrial as error:
        raise Wrong(str(error)) from None
    if options.json:
        say(json.dumps(msgspec.to_builtins(told)))
        return OK
    for line in lines(told):
        say(line)
    return OK


def name_of(text: str) -> str:
    """Return a group's name for a sentence.

    Raises: Usage when the text names none.
    """
    if re.fullmatch(r"\d+", text):
        return f"group {text}"
    if re.fullmatch(r"\d+-\d+", text):
        first, last = text.split("-")
        if int(first) > int(last):
            raise Usage(f"'{text}' runs backwards: write {last}-{first}.")
        return f"portions {text.replace('-', ' to ')}"
    if re.fullmatch(r"tube=.+", text):
        return f"tube {text.removeprefix('tube=')}"
    raise Usage(f"'{text}' names no group of portions: write {GROUP_TEXT}.")


def _there_are(portions: Sequence[Made]) -> str:
    """What groups may be chosen from."""
    if not portions:
        return "There is none at all: name another journal with --journal."
    numbers = [one.number for one in portions]
    groups = ", ".join(map(str, sorted({one.group for one in portions})))
    tubes = ", ".join(sorted({one.tube or "(not named)" for one in portions}))
    return f"There are portions {min(numbers)} to {max(numbers)}, groups {groups}, tubes {tubes}."


def chosen(text: str, portions: Sequence[Made]) -> list[Made]:
    """Return the portions of a group."""
    if text.isdecimal():
        return [one for one in portions if one.group == int(text)]
    if text.startswith("tube="):
        return [one for one in portions if one.tube == text.removeprefix("tube=")]
    first, last = map(int, text.split("-"))
    return [one for one in portions if first <= one.number <= last]


def lines(told: Trial) -> Iterator[str]:
    """Give the text of a trial, each line within 80 columns."""
    from benchd.cli.judge_text import digits_for, ranged
    from benchd.cli.rows import row, wrap

    yield from wrap(f"{conclusion(told)}")
    for letter, side in (("A", told.a), ("B", told.b)):
        yield from row(letter, _side_text(side))
    yield from row("Changed", _differs_text(told))
    places = ", ".join(f"{place} {count} of each" for place, count in told.thirds.items())
    yield from row("Thirds", f"{places} (only the same thirds of the barrel are compared)")
    gap = ranged(told.difference_kg, factor=1e3, unit="g", sign=True)
    yield from row("Mean", f"B less A {gap}: {_shown(told.difference_shown)}")
    yield from row("Spread", f"B over A times {ranged(told.ratio)}: {_shown(told.ratio_shown)}")
    could_g = told.could_show_kg * 1e3
    yield from row(
        "Could show",
        f"with {len(told.a.portions)} of each, 8 times in 10, a difference of "
        f"{could_g:.{digits_for(could_g)}f} g; and spreads from a ratio of "
        f"{told.could_show_ratio:.1f} on",
    )
    if not told.same_tubes:
        yield from wrap(
            "A and B are not of the same tubes: tubes differ by 1 to 3 % by themselves, so a "
            "difference of means as small as that may be theirs.",
            inset=2,
        )
    yield from wrap("Intervals hold in 95 of 100 cases, for independent portions near normal.")


def conclusion(told: Trial) -> str:
    """Return what the trial shows, in one or two sentences."""
    if not told.enough:
        return (
            f"No verdict: {len(told.a.portions)} portions of each are fewer than the 8 that it "
            "takes. Make more in the same third of the barrel."
        )
    said = []
    if told.difference_shown:
        said.append(f"B is {'heavier' if told.difference_kg[0] > 0 else 'lighter'} than A.")
    if told.ratio_shown:
        said.append(f"B spreads {'more' if told.ratio[0] > 1 else 'less'} than A.")
    if not said:
        said.append(
            "No difference is shown. That is no proof of none: smaller ones than stand under "
            "'Could show' would mostly go unseen."
        )
    return " ".join(said)


def _shown(shown: bool) -> str:
    return "shown" if shown else "not shown"


def _side_text(side: Side) -> str:
    from benchd.cli.judge_text import ranged

    text = (
        f"{side.name}, {len(side.portions)} portions, tube {', '.join(side.tubes)}: mean "
        f"{ranged(side.mean_kg, factor=1e3, unit='g')}, spread "
        f"{ranged(side.sd_kg, factor=1e3, unit='g')}"
    )
    if side.odd:
        text += f"; set aside as odd: {', '.join(map(str, side.odd))}"
    if side.left_out:
        text += f"; {len(side.left_out)} left out, without a partner in their third"
    return text


def _differs_text(told: Trial) -> str:
    if not told.differs:
        return "nothing that the journal knows of: by chance alone 1 trial in 20 shows something"
    said = []
    for name, in_a, in_b in told.differs:
        word, factor, unit = BY_HAND.get(name, (name, 1.0, ""))
        both = [
            f"{float(value) * factor:g} {unit}" if unit and value != "-" else value
            for value in (in_a, in_b)
        ]
        said.append(f"{word} {both[0]} in A, {both[1]} in B")
    more = "; more than one was changed, so none can be named" if len(said) > 1 else ""
    return "; ".join(said) + more


PARTS = {"trial": Parts(_options, trial)}
