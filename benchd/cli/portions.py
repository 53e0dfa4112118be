"""`benchd portion`, `series`, `resume`: making portions, with one line for each that ends."""

from __future__ import annotations

import argparse
import contextlib
import os
import select
import sys
import threading
from typing import Any

from benchd.cli.command import (
    OK,
    WRONG,
    Parts,
    Usage,
    Wrong,
    caution,
    confirm,
    moves,
    note,
    quantity_of,
    whole_from,
)
from benchd.cli.daemon import (
    NO_SUCH_REQUEST,
    Client,
    NoDaemon,
    Refused,
    bench_of,
    connect,
    move,
    now,
    questioned,
    show,
    status_of,
)
from tui import ended, view
from tui.view import loaded_text

NEWS = ("portion", "trip", "message", "series")
UNTIL_END = ("end of the tube", "finished early")
"""Reasons for which a series without a count ends as it should; a test compares."""
LAST_NEWS_S = 2.0
"""Longest wait for the last news once a series has answered."""
ATTEND_POLL_S = 0.2


def _portion_options(parser: argparse.ArgumentParser) -> None:
    moves(parser)
    parser.add_argument("card", help="dough card, such as masa.yaml")
    parser.add_argument(
        "--button", action="store_true", help="wait for the local button to start it"
    )


def portion(options: argparse.Namespace) -> int:
    """Make one portion; Ctrl-C stops it."""
    text = read_dough(options.card)
    caution("portion")
    with connect(options, None) as client:
        status = status_of(client)
        when = " when the local button is pressed" if options.button else ""
        confirm(
            f"{push_words(client, text, options.card)}{when}; 1 portion; {loaded_text(status)}; "
            "Ctrl-C stops the bench",
            yes=options.yes,
        )
        params = {"dough": text, "button": options.button}
        record = by_card(options, client, "portion", params)
        text = f"{ended.portion_line(record)}\n{now(client)}"
    show(options, record, text)
    return OK if record["outcome"] == "complete" else WRONG


def _series_options(parser: argparse.ArgumentParser) -> None:
    moves(parser)
    parser.add_argument("card", help="dough card, such as masa.yaml")
    length = parser.add_mutually_exclusive_group(required=True)
    length.add_argument("--count", type=whole_from(1, 10_000), help="how many portions")
    length.add_argument("--until-end", action="store_true", help="until the tube ends")
    parser.add_argument(
        "--every", type=quantity_of("time", "s"), required=True, help="one every so long: 8s"
    )


def series(options: argparse.Namespace) -> int:
    """Make portions on a timer; Ctrl-C stops the bench."""
    if options.every <= 0:
        raise Usage("The time between portions must be above 0: write it as --every 8s.")
    text = read_dough(options.card)
    caution("series")
    many = view.several(options.count, "portion") if options.count else "until the tube ends"
    with connect(options, None) as client:
        status = status_of(client)
        push = push_words(client, text, options.card, options.every)
        confirm(
            f"{push}, one every {options.every:g} s; "
            f"{many}; {loaded_text(status)}; Ctrl-C stops the bench",
            yes=options.yes,
        )
        params = {"dough": text, "every_s": options.every, "count": options.count}
        with News(options):
            result = by_card(options, client, "series", params)
        return _ended(options, client, result)


def resume(options: argparse.Namespace) -> int:
    """Go on with a paused series; Ctrl-C stops the bench."""
    with connect(options, None) as client:
        status = status_of(client)
        if status.series is None or not status.series.paused:
            raise Wrong("No series is paused, so there is nothing to resume.")
        caution("series")
        count = status.series.count
        left = f"{status.series.made} made" + (f" of {count}" if count else "")
        confirm(
            f"will go on with the series; {left}; {loaded_text(status)}; Ctrl-C stops the bench",
            yes=options.yes,
        )
        with News(options):
            result = move(client, "resume", {})
        return _ended(options, client, result)


def _ended(options: argparse.Namespace, client: Client, result: dict[str, Any]) -> int:
    of = f" of {result['count']}" if result["count"] else ""
    reason = f" ({result['reason'].rstrip('.')})" if result["reason"] else ""
    text = f"Series {result['what']}{reason}: {result['made']}{of} made. {now(client)}"
    if result["what"] == "paused":
        start = "When that is done, go" if result["reason"].startswith("IL-") else "Go"
        text += f"\n{start} on with 'benchd resume', or end it with 'benchd finish'."
    show(options, result, text)
    if result["count"] is None:
        complete = result["reason"] in UNTIL_END
    else:
        complete = result["made"] >= result["count"]
    return OK if result["what"] == "ended" and complete else WRONG


def read_dough(path: str) -> str:
    """Return the text of a dough card.

    Raises: Wrong with one sentence when it cannot be read.
    """
    from benchd.cli.card_kind import expect
    from benchd.config.errors import CardError
    from benchd.config.text import read_card

    try:
        text = read_card(path)
    except CardError as error:
        raise Wrong(str(error)) from None
    expect("dough", text, path)
    return text


def push_words(client: Client, text: str, path: str, every_s: float | None = None) -> str:
    """Return what one portion will do, for a consequence line.

    Raises: Refused when the card does not fit the bench, or one every `every_s` is too often.
    """
    try:
        plan = named(path, client.call, "plan", {"dough": text})
    except Refused as error:
        if error.code != NO_SUCH_REQUEST:
            raise
        return f"will push one portion by {path} and cut"
    if every_s is not None and every_s < plan.get("shortest_s", 0.0):
        raise Wrong(
            f"Nothing was moved: {every_s:.1f} s is shorter than one portion takes. Shortest is "
            f"{plan['shortest_s']:.1f} s."
        )
    in_series = every_s is not None and plan.get("auto_stroke")
    follows = f" ({view.STROKE_FOLLOWS})" if in_series else ""
    return f"will push {plan['stroke_m'] * 1e3:.1f} mm and cut{follows}"


def named(path: str, ask: Any, *given: Any) -> Any:
    """Ask, and where the daemon speaks of the dough card say its path instead."""
    try:
        return ask(*given)
    except Refused as error:
        message = error.message.replace("dough card, line", f"{path}, line")
        raise Refused(error.code, message, error.data) from None


def by_card(
    options: argparse.Namespace, client: Client, method: str, params: dict[str, Any]
) -> Any:
    """Ask for portions; where the daemon questions the card ask the person, or go on with --yes.

    Raises: Wrong when the person takes it back, Usage when nobody can be asked, Refused.
    """
    return questioned(
        lambda given: named(options.card, move, client, method, given),
        params,
        yes=options.yes,
        prompt="Use the card as it is?",
        otherwise="Nothing was moved, because the answer was not yes: look at the dough card.",
    )


class News:
    """Prints what happens in a series while its answer is waited for, over its own connection."""

    def __init__(self, options: argparse.Namespace) -> None:
        self._quiet = bool(options.json)
        self._bench = bench_of(options)
        self._client = Client(self._bench)
        self._over = threading.Event()
        self._attending = threading.Thread(target=self._attend, daemon=True)
        self._thread = threading.Thread(target=self._print, daemon=True)
        # Followed before the series is asked for, so that no news of it is missed.
        self._news = self._client.follow(NEWS)

    def __enter__(self) -> None:
        if self._quiet:
            return
        self._thread.start()
        if sys.stdin.isatty():
            note("ENTER says that somebody is there; without it the series pauses after a while.")
            self._attending.start()

    def __exit__(self, kind: object, *_: object) -> None:
        if not self._quiet and kind is None:
            self._thread.join(LAST_NEWS_S)
        self._over.set()
        if self._attending.is_alive():
            self._attending.join()
        self._client.close()

    def _attend(self) -> None:
        """Say that somebody is there whenever ENTER is typed (IL-26)."""
        with contextlib.suppress(OSError, NoDaemon, Refused), Client(self._bench) as client:
            while not self._over.is_set():
                # Not read through `sys.stdin`, which a thread that waits there would keep for good.
                ready, _, _ = select.select([sys.stdin.fileno()], [], [], ATTEND_POLL_S)
                if ready and not os.read(sys.stdin.fileno(), 1024):
                    return
                if ready:
                    client.call("attend")

    def _print(self) -> None:
        for topic, data in self._news:
            line = news_line(topic, data)
            if line:
                note(line)
            if topic == "series" and data.get("what") in ("ended", "paused"):
                return


def news_line(topic: str, data: dict[str, Any]) -> str:
    """Return one line about what happened, or nothing where it needs none."""
    if topic == "portion":
        return ended.portion_line(data)
    if topic == "trip" and data.get("up"):
        return view.plain(f"{data['interlock']}: {data['text']}")
    if topic == "message":
        return view.plain(str(data.get("text", "")))
    if topic == "series" and data.get("what") == "adjusted":
        return view.plain(str(data["reason"]))
    return ""


PARTS = {
    "portion": Parts(_portion_options, portion),
    "series": Parts(_series_options, series),
    "resume": Parts(moves, resume),
}
