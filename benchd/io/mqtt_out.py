"""News to an MQTT broker, as the daemon sees it: a process of its own, fed through a pipe.

The process is there so that nothing a broker does, or its library, or a name server, can hold the
daemon up: not a connection that hangs, not a lock of the interpreter, not memory that grows. All
that the daemon does is to write a status into a pipe that never blocks; what does not fit is left
out. Portions, weights and trips the process reads from the journal by itself.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import msgspec

import benchd
from benchd.config.broker import Broker
from benchd.io.mqtt_orders import END, Orders
from benchd.io.paths import file_name
from protocols.status import BrokerStatus

AGAIN_S = 5.0
AGAIN_S_MAX = 300.0
"""Wait before a process that ended by itself is started again; doubled each time."""

_READ_BYTES = 65_536


class MqttOut:
    """The daemon's end of the pipe. Every method returns at once."""

    def __init__(
        self,
        broker: Broker,
        bench: str,
        folder: Path,
        *,
        status: Callable[[], bytes],
        say: Callable[[str], None],
    ) -> None:
        """Parameters: bench: its name; folder: of its journals; status: the present BenchStatus
        as one line of JSON; say: takes sentences for the person. Needs a running event loop."""
        self.status = BrokerStatus(False, 0, 0)
        self._orders = Orders(broker, file_name(bench), str(folder.resolve()))
        self._every_s = broker.every_s
        self._status, self._say = status, say
        self._loop = asyncio.get_running_loop()
        self._process: subprocess.Popen[bytes] | None = None
        self._timer: asyncio.TimerHandle | None = None
        self._again_s = AGAIN_S
        self._unsent = b""
        self._heard = b""

    @property
    def pid(self) -> int | None:
        """Number of the process; None while there is none."""
        return None if self._process is None else self._process.pid

    def start(self) -> None:
        """Start the process, and the messages to it."""
        # The same code as ours, wherever the process looks; and never what lies in the folder
        # that the daemon was started in.
        code = str(Path(benchd.__file__).parents[1])
        try:
            process = subprocess.Popen(
                [sys.executable, "-P", "-m", "benchd.io.mqtt_process"],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                env={**os.environ, "PYTHONPATH": code},
                # Ctrl-C is for the daemon, which then ends this process in good order.
                start_new_session=True,
            )
        except OSError as error:
            self._set_timer(self._again_s, self.start)
            self._say(f"MQTT: its process cannot be started ({error.strerror}).")
            return
        self._process = process
        assert process.stdin is not None
        assert process.stdout is not None
        os.set_blocking(process.stdin.fileno(), False)
        os.set_blocking(process.stdout.fileno(), False)
        self._unsent = self._heard = b""
        self._loop.add_reader(process.stdout.fileno(), self._hear)
        self._give(msgspec.json.encode(self._orders) + b"\n")
        self._tick()

    def end(self) -> None:
        """Let the process take leave of the broker; it is not waited for."""
        if self._timer is not None:
            self._timer.cancel()
        process = self._process
        if process is not None:
            self._give(END)
            self._let_go(process)

    def _set_timer(self, delay_s: float, do: Callable[[], None]) -> None:
        self._timer = self._loop.call_later(delay_s, do)

    def _tick(self) -> None:
        self._set_timer(self._every_s, self._tick)
        self._give(self._status() + b"\n")

    def _give(self, line: bytes) -> None:
        """Write a line if the process keeps up; a line that was begun is finished first."""
        process = self._process
        if process is None or process.stdin is None:
            return
        if not self._unsent:
            self._unsent = line
        # A process that is gone is heard of by `_hear`; a full pipe is tried again next time.
        with contextlib.suppress(BlockingIOError, BrokenPipeError):
            self._unsent = self._unsent[os.write(process.stdin.fileno(), self._unsent) :]

    def _hear(self) -> None:
        process = self._process
        if process is None or process.stdout is None:
            return
        try:
            data = os.read(process.stdout.fileno(), _READ_BYTES)
        except BlockingIOError:
            return
        if not data:
            self._ended(process)
            return
        *lines, self._heard = (self._heard + data).split(b"\n")
        if lines:
            self._take(msgspec.json.decode(lines[-1], type=BrokerStatus))

    def _take(self, now: BrokerStatus) -> None:
        before, self.status = self.status, now
        if now.connected and not before.connected:
            self._again_s = AGAIN_S
            self._say(f"MQTT: news goes out to {self._orders.broker.host}.")
        elif now.trouble and now.trouble != before.trouble:
            self._say(f"MQTT: {now.trouble}")

    def _ended(self, process: subprocess.Popen[bytes]) -> None:
        self._let_go(process)
        text = (
            f"its process ended by itself; the bench goes on without it, and it is started again "
            f"in {self._again_s:.0f} s."
        )
        self._take(BrokerStatus(False, self.status.waiting, self.status.dropped, text))
        if self._timer is not None:
            self._timer.cancel()
        self._set_timer(self._again_s, self.start)
        self._again_s = min(2 * self._again_s, AGAIN_S_MAX)

    def _let_go(self, process: subprocess.Popen[bytes]) -> None:
        """Close both pipes; the process sees that and ends."""
        self._process = None
        assert process.stdin is not None
        assert process.stdout is not None
        self._loop.remove_reader(process.stdout.fileno())
        process.stdout.close()
        process.stdin.close()
        process.poll()
