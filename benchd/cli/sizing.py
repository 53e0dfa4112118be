"""`benchd size`: what this bench can do, before anything is bought or moves."""

from __future__ import annotations

import argparse
import copy
import json
import math
import shlex
from typing import TYPE_CHECKING, Any

from benchd.cli.command import OK, WRONG, Parts, Usage, caution, note, quantity_of, say

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from benchd.calc.sizing.base import Hang, Input, Line
    from benchd.config.sizing_inputs import Cards

SIZE_USAGE = (
    "The bench card comes first, then one dough card if any: 'benchd size bench.yaml masa.yaml'."
)


def _options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("cards", nargs="+", metavar="CARD", help="bench card, then a dough card")
    parser.add_argument(
        "--what-if", action="append", default=[], metavar="KEY=VALUE",
        help="show what another value changes, such as nozzle=14mm; may be given often",
    )  # fmt: skip
    parser.add_argument(
        "--for", dest="mass", type=quantity_of("mass"), metavar="MASS",
        help="work backwards from a portion of this mass; --thickness goes with it",
    )  # fmt: skip
    parser.add_argument(
        "--thickness", type=quantity_of("length"), metavar="LENGTH",
        help="thickness of the portion that is wanted",
    )  # fmt: skip
    parser.add_argument(
        "--plot", metavar="FILE",
        help="write speed against pressure and torque as a figure: .svg, .png or .pdf",
    )  # fmt: skip
    parser.add_argument("--short", action="store_true", help="one line for each result")
    parser.add_argument("--json", action="store_true", help="print the sheet as JSON")


def size(options: argparse.Namespace) -> int:
    """Print the sheet; a red line ends with 1."""
    if len(options.cards) > 2:
        raise Usage(SIZE_USAGE)
    if (options.mass is None) != (options.thickness is None):
        raise Usage("--for and --thickness go together: 'benchd size bench.yaml --for 30g "
                    "--thickness 25mm'.")  # fmt: skip
    if options.mass is not None and (options.what_if or options.plot):
        raise Usage("--for stands alone: --what-if and --plot go with the sheet itself.")
    _in_range(options)
    from benchd.config.errors import CardError

    try:
        cards = _read(options.cards)
    except CardError as error:
        return _mistakes(options, error.sentences)
    if options.mass is not None:
        return _backwards(options, cards)
    code = _what_if(options, cards) if options.what_if else _sheet(options, cards)
    if options.plot:
        # Said last: before a long sheet nobody would see it.
        note(f"The figure is in {options.plot}.")
    return code


def _in_range(options: argparse.Namespace) -> None:
    """Refuse a portion that no card could ask for.

    Raises: Usage
    """
    from benchd.config.keys import check_range
    from benchd.config.quantity import UNITS, QuantityError
    from benchd.config.sizing_inputs import KEYS

    for name, value, key in (
        ("--for", options.mass, KEYS["aim"]),
        ("--thickness", options.thickness, KEYS["nozzle.bore"]),
    ):
        if value is None:
            continue
        shown = value / UNITS[key.unit].si
        try:
            check_range(key, shown)
        except QuantityError as error:
            raise Usage(f"{name} {shown:g} {key.unit} {error}") from None


def _read(paths: Sequence[str]) -> Cards:
    from benchd.config.changes import kind_of
    from benchd.config.sizing_inputs import read_cards
    from benchd.config.text import read_card

    texts = [read_card(path) for path in paths]
    for path, text, other in zip(paths, texts, ("dough", "bench"), strict=False):
        if kind_of(text) == other:
            raise Usage(f"{path} is a {other} card. {SIZE_USAGE}")
    dough = texts[1] if len(texts) > 1 else None
    return read_cards(texts[0], paths[0], dough, paths[-1])


def _mistakes(options: argparse.Namespace, sentences: Sequence[str]) -> int:
    if options.json:
        say(json.dumps({"ok": False, "mistakes": list(sentences)}))
        return WRONG
    for sentence in sentences:
        say(sentence)
    return WRONG


def _code(lines: Sequence[Line]) -> int:
    from benchd.calc.sizing.base import RED

    return WRONG if any(line.state == RED for line in lines) else OK


def _say_cautions(lines: Sequence[Line]) -> None:
    """Say what comes before every sheet: cautions, and what falls short."""
    from benchd.cli import sizing_text as text

    caution("size")
    _say_all(f"! {one}" for one in text.cautions(lines))
    _say_all(text.red(lines))


def _sheet(options: argparse.Namespace, cards: Cards) -> int:
    from benchd.calc.sizing import ROWS
    from benchd.calc.sizing.base import hangs, work_out
    from benchd.cli import sizing_text as text
    from benchd.config.sizing_inputs import inputs_of

    inputs = inputs_of(cards)
    lines = work_out(ROWS, inputs)
    _plot(options, inputs)
    found = hangs(ROWS, inputs, lines)
    code = _code(lines)
    if options.json:
        say(json.dumps(_as_json(lines, inputs) | _guesses_json(lines, inputs, found)))
        return code
    _say_cautions(lines)
    _say_all(text.parts(lines, inputs, short=options.short))
    _say_all(text.unknown(lines))
    _say_all(text.guesses(found, inputs, lines))
    _verdict(lines)
    return code


def _plot(options: argparse.Namespace, inputs: dict[str, Input]) -> None:
    if options.plot:
        from benchd.cli.sizing_plot import write

        write(options.plot, inputs)


def _as_json(lines: Sequence[Line], inputs: dict[str, Input]) -> dict[str, Any]:
    from benchd.calc.sizing.base import RED
    from benchd.cli import sizing_text as text
    from benchd.cli.cautions import CAUTIONS

    units = text.units_of(inputs, lines)
    return {
        "cautions": [*CAUTIONS["size"], *text.cautions(lines)],
        "ok": not any(line.state == RED for line in lines),
        "red": [line.row.name for line in lines if line.state == RED],
        "lines": [text.line_json(line, units) for line in lines],
    }


def _guesses_json(
    lines: Sequence[Line], inputs: dict[str, Input], found: Sequence[Hang]
) -> dict[str, Any]:
    from benchd.calc.sizing.base import unsloped
    from benchd.cli import sizing_text as text

    return {"guesses": text.hang_json(found), "guesses_without_slope": unsloped(inputs, lines)}


def _say_all(texts: Iterable[str]) -> None:
    for one in texts:
        say(one)


def _verdict(lines: Sequence[Line]) -> None:
    from benchd.calc.sizing.base import RED, TIGHT

    red = sum(line.state == RED for line in lines)
    tight = sum(line.state == TIGHT for line in lines)
    say("")
    say(
        f"{red} red, {tight} tight. No red line means that nothing here computed speaks against "
        "it; what was not measured, not given or not computed may."
    )


def _key_for(word: str) -> str:
    """Return the key that a short word stands for.

    Raises: Usage when it stands for none, or for several.
    """
    from benchd.config.sizing_inputs import KEYS, ON_CARDS

    for path in (word, f"{word}.bore", f"{word}.conductance"):
        if path in KEYS:
            return path
    same = [path for path in KEYS if path.rpartition(".")[2] == word]
    if len(same) == 1:
        return same[0]
    if same:
        raise Usage(f"'{word}' could be {', '.join(same)}; write one of them whole.")
    if any(word in (path, path.rpartition(".")[2]) for path in ON_CARDS):
        raise Usage(f"'{word}' is no key that sizing reads: no line of the sheet rests on it.")
    import difflib

    near = difflib.get_close_matches(word, KEYS, 1, 0.0)
    raise Usage(f"'{word}' is no key that sizing reads; the nearest is '{near[0]}'.")


def _changed(options: argparse.Namespace, cards: Cards) -> tuple[Cards, dict[str, str]]:
    """Return the cards with other values, and those values by their keys.

    Raises: Usage
    """
    from benchd.config.quantity import QuantityError

    other = copy.deepcopy(cards)
    said: dict[str, str] = {}
    for one in options.what_if:
        word, equals, value = one.partition("=")
        if not (word.strip() and equals and value.strip()):
            raise Usage(f"'{one}' must be KEY=VALUE, such as nozzle=14mm.")
        path = _key_for(word.strip())
        try:
            other.change(path, value.strip())
        except QuantityError as error:
            raise Usage(f"'{path}: {value}' {error}") from None
        said[path] = value.strip()
    if "aim" in said and "stroke" not in said:
        other.untuned()
    return other, said


def _what_if(options: argparse.Namespace, cards: Cards) -> int:
    from benchd.calc.sizing import ROWS
    from benchd.calc.sizing.base import UNKNOWN, work_out
    from benchd.cli import sizing_text as text
    from benchd.config.sizing_inputs import ANGLE, inputs_of

    other, said = _changed(options, cards)
    shown = [f"{path} {value}" for path, value in said.items()]
    then = inputs_of(other)
    before, after = work_out(ROWS, inputs_of(cards)), work_out(ROWS, then)
    _plot(options, then)
    code = _code(after)
    if options.json:
        now = _as_json(before, inputs_of(cards))
        say(json.dumps({"what_if": shown, "now": now, "then": _as_json(after, then)}))
        return code
    _say_cautions(after)
    say("")
    say(f"with {', '.join(shown)}")
    _say_all(text.side_by_side(before, after))
    _say_all(text.idle([path for path in said if path != ANGLE], after))
    known = {line.row.name for line in before if line.state != UNKNOWN}
    lost = [line for line in after if line.state == UNKNOWN and line.row.name in known]
    if lost:
        _say_all(text.unknown(after))
    _verdict(after)
    return code


def _backwards(options: argparse.Namespace, cards: Cards) -> int:
    from benchd.calc.sizing import BACKWARDS
    from benchd.calc.sizing.base import Input, hangs, work_out
    from benchd.cli import sizing_text as text
    from benchd.config.sizing_inputs import inputs_of

    inputs = inputs_of(cards) | {
        "aim": Input(options.mass, "g"),
        "thickness": Input(options.thickness, "mm"),
    }
    lines = work_out(BACKWARDS, inputs)
    found = hangs(BACKWARDS, inputs, lines)
    code = _code(lines)
    if options.json:
        say(json.dumps(_as_json(lines, inputs) | _guesses_json(lines, inputs, found)))
        return code
    _say_cautions(lines)
    say("")
    say(f"for {options.mass * 1e3:g} g, {options.thickness * 1e3:g} mm thick")
    said = {line.row.safety for line in lines if line.cautions}
    _say_all(text.sheet(lines, text.units_of(inputs, lines), said, short=options.short))
    _say_all(text.unknown(lines))
    _say_all(text.guesses(found, inputs, lines))
    words = f"{shlex.join(options.cards)} --what-if aim={options.mass * 1e3:.6g}g{_try_out(lines)}"
    say("")
    say(f"The whole sheet with it: 'benchd size {words}'.")
    return code


def _try_out(lines: Sequence[Line]) -> str:
    """Return the options that put what was found into the sheet."""
    from benchd.calc.sizing import FOUND
    from benchd.calc.sizing.base import UNITS

    found = {line.row.name: (line.value, line.row.unit) for line in lines}
    words = []
    for name, key in FOUND.items():
        value, unit = found.get(name, (None, ""))
        if value is not None:
            words.append(f" --what-if {key}={_rounded_up(value / UNITS[unit])}{unit}")
    return "".join(words)


def _rounded_up(value: float) -> str:
    """Return a value with four digits that is not below it: less would not do what was asked."""
    step = 10.0 ** (math.floor(math.log10(value)) - 3)
    return f"{math.ceil(value / step - 1e-6) * step:.5g}"


PARTS = {"size": Parts(_options, size)}
