"""The screens' side of the study process, which is asked about past journals: one JSON object a
line to its input and from its output. It is started by the first question and ends with us."""

from __future__ import annotations

import asyncio
import contextlib
import json
import subprocess
from collections.abc import Mapping, Sequence
from typing import Any

END_S = 1.0
"""How long the end of the process is waited for."""

ENDED = "The process that reads past journals ended; ask again, and it is started anew."


class Unanswered(Exception):
    """There is no answer; the text is one sentence for the person."""


class Study:
    """Asks one question after the other; what waits for an answer is a thread of its own."""

    def __init__(self, command: Sequence[str]) -> None:
        self._command = command
        self._process: subprocess.Popen[bytes] | None = None
        self._turn = asyncio.Lock()
        self._number = 0

    async def ask(self, what: str, given: Mapping[str, Any]) -> Any:
        """Return what the study process answers.

        Raises: Unanswered.
        """
        if not self._command:
            raise Unanswered("No process that reads past journals was given to these screens.")
        async with self._turn:
            self._number += 1
            asked = {**given, "id": self._number, "ask": what}
            try:
                process = self._process = self._process or self._started()
                said = await asyncio.to_thread(_said, process, asked)
            except (OSError, ValueError) as error:
                self.close()
                raise Unanswered(ENDED) from error
        if "error" in said:
            raise Unanswered(str(said["error"]))
        return said["result"]

    def _started(self) -> subprocess.Popen[bytes]:
        return subprocess.Popen(
            self._command,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            # The terminal shows the screens, and nothing else may write there.
            stderr=subprocess.DEVNULL,
        )

    def close(self) -> None:
        """End the process."""
        process, self._process = self._process, None
        if process is not None:
            process.terminate()
            with contextlib.suppress(subprocess.TimeoutExpired):
                process.wait(END_S)


def _said(process: subprocess.Popen[bytes], asked: Mapping[str, Any]) -> dict[str, Any]:
    """Return the answer to one question.

    Raises: OSError when the process ended, ValueError when what it says is no answer.
    """
    assert process.stdin is not None
    assert process.stdout is not None
    process.stdin.write(json.dumps(asked).encode() + b"\n")
    process.stdin.flush()
    while line := process.stdout.readline():
        said: dict[str, Any] = json.loads(line)
        # An answer that nobody waited for any more comes first.
        if said["id"] == asked["id"]:
            return said
    raise ConnectionResetError
