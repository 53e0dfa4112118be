"""Our terminal: the stop key acts in the thread that reads keys, before any screen is drawn; and
where the terminal can, it tells when a key is repeated and let go."""

from __future__ import annotations

import codecs
import re
import select
import time
from collections.abc import Callable, Iterable
from functools import partial
from typing import TYPE_CHECKING

from textual import constants, events
from textual._xterm_parser import BRACKETED_PASTE_START, SPECIAL_SEQUENCES, XTermParser
from textual.drivers import linux_driver
from textual.message import Message

from tui import first
from tui.keys import Reads, is_stop

if TYPE_CHECKING:
    from tui.app import Screens

REPORT_EVENT_TYPES = "\x1b[=2;2u"
"""Asks, beside what the driver asks for, for repeats and releases: flag 2 of the progressive
keyboard protocol. A terminal without it ignores that."""

EVENT_TYPE = re.compile(r"(\x1b\[[\d:]*;\d+):([123])((?:;[\d:]*)?[u~A-HPQRS])")
"""A key with the type of its event, which the driver's own parser does not know: 1 pressed, 2
repeated, 3 let go."""


SPACE = re.compile("(\x1b? )")
"""The space bar as a sign, with the ESC before it that some terminals send for Alt."""

SPECIAL_SEQUENCES.discard(BRACKETED_PASTE_START)
# A paste whose end never came would take every key for its text, the stop key too.


class KeyAgain(events.Key):
    """A repeat of a key that is held down."""

    def copy(self) -> KeyAgain:
        """Get a copy of this event."""
        return KeyAgain(self.key, self.character)


class KeyMany(events.Key):
    """One of several keys that came together: nobody typed them one by one."""

    def copy(self) -> KeyMany:
        """Get a copy of this event."""
        return KeyMany(self.key, self.character)


class KeyUp(events.Key):
    """A key was let go. It is nobody's press, and the stop key's least of all."""

    def copy(self) -> KeyUp:
        """Get a copy of this event."""
        return KeyUp(self.key, self.character)


KINDS: dict[str, type[events.Key]] = {"1": events.Key, "2": KeyAgain, "3": KeyUp}


def _lenient(encoding: str) -> Callable[[], codecs.IncrementalDecoder]:
    """A decoder that no byte of a key ends: the thread that reads keys would end with it, and the
    stop key with that."""
    return partial(codecs.getincrementaldecoder(encoding), "replace")


class KeysParser(XTermParser):
    """The driver's parser of what a terminal sends; it tells the type of an event, keys that came
    together, and keys that may have waited before they were read."""

    def __init__(self, debug: bool = False) -> None:
        super().__init__(debug)
        self._reads = Reads()

    def feed(self, data: str) -> Iterable[Message]:
        """Return what one read from the terminal holds."""
        now_s = time.monotonic()
        found = [one for part in SPACE.split(data) for one in self._parsed(part)]
        pressed = [
            one for one in found if isinstance(one, events.Key) and not isinstance(one, KeyUp)
        ]
        together = self._reads.together(now_s, len(pressed))
        oldest_s = self._reads.oldest_s(now_s)
        return [self._marked(one, oldest_s, together=together) for one in found]

    def _parsed(self, part: str) -> Iterable[Message]:
        if not part.endswith(" "):
            return list(super().feed(part)) if part else []
        # The stop key waits for the end of no sequence: what was begun counts as it stands.
        if self._timeout_time is None:
            return list(super().feed(" "))
        self._timeout_time = 0.0
        return [*super().tick(), *super().feed(" ")]

    def _marked(self, one: Message, oldest_s: float, *, together: bool) -> Message:
        if not isinstance(one, events.Key) or isinstance(one, KeyUp) or is_stop(one.key):
            return one
        key = KeyMany(one.key, one.character) if together else one
        key.time = min(one.time, oldest_s)
        return key

    def tick(self) -> Iterable[Message]:
        """Return what was waited for in vain: more of a sequence."""
        found = list(super().tick())
        self._reads.looked(time.monotonic())
        return found

    def _parse_extended_key(  # type: ignore[override]
        self, sequence: str
    ) -> list[events.Key] | None:
        found = EVENT_TYPE.fullmatch(sequence)
        if found is None:
            return super()._parse_extended_key(sequence)
        keys = super()._parse_extended_key(found[1] + found[3])
        return keys and [KINDS[found[2]](key.key, key.character) for key in keys]


class StopTerminal(linux_driver.LinuxDriver):
    """Reads keys as usual, except that the stop key is acted upon at once."""

    def start_application_mode(self) -> None:
        """Set the terminal up; what the first picture shows stays until the next one."""
        app: Screens = self._app  # type: ignore[assignment]
        if app.opening and self._file is not None:
            # The page is entered once, so that leaving it leads back to where the cursor was.
            self._file.write(first.LEAVE)
        super().start_application_mode()  # type: ignore[no-untyped-call]
        self.write(app.opening)
        if not constants.DISABLE_KITTY_KEY:
            self.write(REPORT_EVENT_TYPES)
            self.flush()

    def run_input_thread(self) -> None:
        """Wait for input and dispatch events."""
        # The driver makes its parser and its decoder by these names.
        linux_driver.XTermParser = KeysParser  # type: ignore[attr-defined]
        linux_driver.getincrementaldecoder = _lenient  # type: ignore[attr-defined, assignment]
        super().run_input_thread()

    def _enable_bracketed_paste(self) -> None:
        """Have what is pasted come as keys: a paste that does not end would keep the stop key."""
        self._disable_bracketed_paste()

    def hung_up(self) -> bool:
        """Whether the terminal is gone: no key comes any more, and nothing is seen."""
        waiting = select.poll()
        waiting.register(self.fileno, 0)
        return bool(waiting.poll(0))

    def process_message(self, message: Message) -> None:
        """Take a message from the reading thread."""
        if isinstance(message, events.Key) and is_stop(message.key):
            if not isinstance(message, KeyUp):
                app: Screens = self._app  # type: ignore[assignment]
                app.stop_pressed(message.time, again=isinstance(message, KeyAgain))
            return
        super().process_message(message)
