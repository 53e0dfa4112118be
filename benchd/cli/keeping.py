"""`benchd weigh`, `note`, `set`: what a person records."""

from __future__ import annotations

import argparse
from typing import Any, NamedTuple

from benchd.cli import quantity
from benchd.cli.command import (
    OK,
    Parts,
    Usage,
    asks_daemon,
    quantity_of,
    whole_from,
)
from benchd.cli.daemon import Client, Refused, connect, questioned, show
from tui import view

LOOKS = ("clean", "tail", "squashed", "torn", "thrown")


def _weigh_options(parser: argparse.ArgumentParser) -> None:
    asks_daemon(parser)
    parser.add_argument(
        "mass",
        nargs="?",
        help="31.8, 31,8 or 1.1oz, grams if no unit is given; 12=31.8 for portion 12",
    )
    parser.add_argument(
        "--portion",
        type=whole_from(1, 2**31),
        help="which portion; the oldest unweighed if not given",
    )
    parser.add_argument("--look", choices=LOOKS, default="", help="how the cut looks")
    parser.add_argument("--threw", type=quantity_of("length"), help="how far it was thrown")
    parser.add_argument(
        "--from",
        dest="weights",
        metavar="FILE",
        help="take all weights of a CSV file: columns portion and mass_g (or _kg, _oz, _lb)",
    )
    parser.add_argument(
        "--take-back",
        type=whole_from(1, 2**31),
        metavar="PORTION",
        help="take the weight of a portion back: it has none then",
    )
    parser.add_argument(
        "--yes", action="store_true", help="take the weight even if it looks like a slip"
    )


def weigh(options: argparse.Namespace) -> int:
    """Record a weight, or those of a file; implausible ones are asked about first."""
    if options.take_back is not None:
        return _take_back(options)
    if options.weights is not None:
        return _weigh_file(options)
    if options.mass is None:
        raise Usage("Say what it weighs, such as 'benchd weigh 31.8', or name a file with --from.")
    portion, text = _named(options)
    try:
        mass_kg = quantity.parse(text, "mass", "g")
    except quantity.QuantityError as error:
        raise Usage(str(error)) from None
    params: dict[str, Any] = {"mass_kg": mass_kg, "text": text}
    if portion is not None:
        params["portion"] = portion
    if options.look:
        params["look"] = options.look
    if options.threw is not None:
        if options.threw < 0:
            raise Usage("A piece is thrown 0 mm or further: write --threw 12cm.")
        params["threw_m"] = options.threw
    with connect(options) as client:
        result = send_weight(client, params, yes=options.yes)
    left = f"; {result['left']} not weighed yet" if result["left"] else ""
    text = f"Portion {result['portion']}: {view.weighed(result['mass_kg'])}{left}."
    show(options, result, text)
    return OK


def _named(options: argparse.Namespace) -> tuple[int | None, str]:
    """Return the portion that is named, if any, and the mass as typed."""
    named, sign, text = options.mass.rpartition("=")
    if not sign:
        return options.portion, text.strip()
    if options.portion is not None:
        raise Usage("The portion is named twice: leave --portion out, or write the mass alone.")
    try:
        return whole_from(1, 2**31)(named), text.strip()
    except argparse.ArgumentTypeError as error:
        raise Usage(f"Before the '=' stands a portion's number, as in 12=31.8: {error}.") from None


def _is_one(options: argparse.Namespace) -> bool:
    """Whether something is said that belongs to a single weight."""
    return (
        options.mass is not None
        or options.portion is not None
        or bool(options.look)
        or options.threw is not None
    )


def _take_back(options: argparse.Namespace) -> int:
    if _is_one(options) or options.weights is not None:
        raise Usage("--take-back names a portion and stands alone: 'benchd weigh --take-back 12'.")
    with connect(options) as client:
        result = client.call("unweigh", {"portion": options.take_back})
    left = f"{result['left']} not weighed yet"
    show(options, result, f"Portion {result['portion']} has no weight any more; {left}.")
    return OK


def _weigh_file(options: argparse.Namespace) -> int:
    from benchd.cli.weights_file import read

    if _is_one(options):
        raise Usage("--from FILE takes everything from the file: leave the others out.")
    lines = read(options.weights)
    params = {
        "weights": [
            {"portion": one.portion, "mass_kg": one.mass_kg, "text": one.text} for one in lines
        ]
    }
    try:
        with connect(options) as client:
            result = questioned(
                lambda given: client.call("weigh_many", given),
                params,
                yes=options.yes,
                prompt="Record all as they are?",
                otherwise="Nothing was recorded, because the answer was not yes: look at the file.",
            )
    except Refused as error:
        # What the daemon says is of a portion; the person looks for a line.
        data = error.data if isinstance(error.data, dict) else {}
        number = data.get("value") if data.get("condition") == "weigh" else None
        where = next((one for one in lines if one.portion == number), None)
        place = f"{options.weights}, line {where.line}: " if where else f"{options.weights}: "
        message = f"{place}{error.message} Nothing was recorded."
        raise Refused(error.code, message, error.data) from None
    known = f"; {result['known']} known already" if result["known"] else ""
    left = f"; {result['left']} not weighed yet" if result["left"] else ""
    many = len(result["taken"])
    show(options, result, f"{many} weight{'' if many == 1 else 's'} recorded{known}{left}.")
    return OK


def send_weight(client: Client, params: dict[str, Any], *, yes: bool) -> Any:
    """Send a weight; where it is questioned ask the person, or take it as it is with `yes`.

    Raises: Wrong when the person takes it back, Refused.
    """
    return questioned(
        lambda given: client.call("weigh", given),
        params,
        yes=yes,
        prompt="Record it as it is?",
        otherwise="Nothing was recorded, because the answer was not yes: weigh it again.",
    )


def _note_options(parser: argparse.ArgumentParser) -> None:
    asks_daemon(parser)
    parser.add_argument("text", help="what to record")
    parser.add_argument("--portion", type=whole_from(1, 2**31), help="the portion it is about")


def note_down(options: argparse.Namespace) -> int:
    """Record a note."""
    if not options.text.strip():
        raise Usage("An empty note records nothing: write the text in quotes behind the command.")
    with connect(options) as client:
        result = client.call("note", {"text": options.text.strip(), "portion": options.portion})
    show(options, result, "Recorded.")
    return OK


class ByHand(NamedTuple):
    """A value set by hand: name in the request, kind of quantity (empty: a word), range in SI."""

    name: str
    kind: str = ""
    low: float = 0.0
    high: float = 0.0
    span: str = ""


BY_HAND: dict[str, ByHand] = {
    "air": ByHand("air_pa", "pressure", 0.0, 12e5, "0 to 12 bar"),
    "needle": ByHand("needle_turns", "turns", 0.0, 50.0, "0 to 50 turns"),
    "nozzle": ByHand("nozzle_m", "length", 0.001, 0.2, "1 to 200 mm"),
    "sleeve": ByHand("sleeve"),
    "lamp": ByHand("lamp"),
}
"""Word on the command line to what it is. The ranges are wider than any bench of this kind (common
practice); what lies outside is a slip of the unit or the decimal point."""


def _set_options(parser: argparse.ArgumentParser) -> None:
    asks_daemon(parser)
    parser.add_argument(
        "values", nargs="+", metavar="NAME=VALUE", help=f"names: {', '.join(BY_HAND)}"
    )


def by_hand(texts: list[str]) -> dict[str, float | str]:
    """Return the values of `name=value` words for the request.

    Raises: Usage with one sentence for the first that is wrong.
    """
    values: dict[str, float | str] = {}
    for text in texts:
        word, equals, written = text.partition("=")
        if not equals or word not in BY_HAND or not written:
            raise Usage(f"'{text}' is no NAME=VALUE; the names are {', '.join(BY_HAND)}.")
        name, kind, low, high, span = BY_HAND[word]
        if name in values:
            raise Usage(f"'{word}' is given twice: leave one of them out.")
        try:
            values[name] = quantity.parse(written, kind) if kind else written
        except quantity.QuantityError as error:
            raise Usage(str(error)) from None
        value = values[name]
        if isinstance(value, float) and not low <= value <= high:
            raise Usage(f"'{text}' is outside {span}: look at the unit and the decimal point.")
    return values


def set_values(options: argparse.Namespace) -> int:
    """Record values set by hand."""
    values = by_hand(options.values)
    with connect(options) as client:
        result = client.call("set", {"values": values})
    text = f"Recorded. Comparison group {result['group']} begins."
    if "air_pa" in values:
        text += " The air was changed: a dry stroke comes first ('benchd cut')."
    show(options, result, text)
    return OK


PARTS = {
    "weigh": Parts(_weigh_options, weigh),
    "note": Parts(_note_options, note_down),
    "set": Parts(_set_options, set_values),
}
