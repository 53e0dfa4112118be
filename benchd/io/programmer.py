"""Writing firmware into the board through its boot loader, by the program avrdude.

Its standard programmer for the usual serial boot loader restarts the board over the port's control
lines, writes page by page, and reads everything back. What it says is long and written for those
who make programmers; here a failure becomes one sentence.
"""

from __future__ import annotations

import re
import shutil
import subprocess
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import NamedTuple

from benchd.io import ports

PROGRAM = "avrdude"
CHIP = "m328p"
LOADER = "arduino"
"""The program's name for the usual serial boot loader behind a port that restarts the board."""

LONGEST_S = 300.0
"""Writing and reading back takes some 10 s; at 19200 bit/s, the slowest loader, 40 s."""


class Job(NamedTuple):
    """What is to be written where: image file, port, and the boot loader's speed [bit/s]."""

    image: Path
    port: str
    loader_baud: int


class ProgrammerError(Exception):
    """The board was not written; the text is one sentence, `output` what the program said."""

    def __init__(self, sentence: str, output: str = "") -> None:
        super().__init__(sentence)
        self.output = output


def missing_sentence() -> str:
    """Return one sentence where the program is not installed, and how to get it; else ""."""
    if shutil.which(PROGRAM):
        return ""
    return (
        f"The program {PROGRAM}, which writes the board's memory, is not installed; install it "
        f"with: sudo apt-get install {PROGRAM} (macOS: brew install {PROGRAM})"
    )


def command(job: Job) -> list[str]:
    """Return the command line that writes and reads back; it runs in the image's folder."""
    return [
        PROGRAM,
        *("-p", CHIP, "-c", LOADER, "-P", job.port, "-b", str(job.loader_baud)),
        # The boot loader clears each page as it writes it, and cannot clear the whole chip.
        "-D",
        *("-U", f"flash:w:{job.image.name}:i"),
    ]


def write(job: Job) -> str:
    """Write the image and read it back; return what the program said.

    Raises: ProgrammerError.
    """
    try:
        done = subprocess.run(
            command(job),
            cwd=job.image.parent,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            timeout=LONGEST_S,
            check=False,
        )
    except FileNotFoundError:
        raise ProgrammerError(missing_sentence()) from None
    except OSError as error:
        raise ProgrammerError(f"The program {PROGRAM} does not run ({error.strerror}).") from None
    except subprocess.TimeoutExpired as error:
        output = (error.stdout or b"").decode("utf-8", "replace")
        raise ProgrammerError(broke_off(job, f"took over {LONGEST_S:g} s"), output) from None
    output = done.stdout.decode("utf-8", "replace")
    if done.returncode != 0:
        raise ProgrammerError(why_not(job, output, done.returncode), output)
    return output


# What its failures mean.

HALF = (
    "the firmware on the board is not whole: keep the motor supply off and the air shut, and "
    "flash again before anything else"
)


def broke_off(job: Job, what: str) -> str:
    """Return the sentence for a board that may hold half a firmware."""
    return f"Writing the board on {job.port} {what}, so {HALF}."


def _other_chip(job: Job, output: str) -> str:
    found = re.search(r"signature = (0x[0-9a-f ]+\w)(?: \(probably (\w+)\))?", output, re.I)
    called = f" but says {found[2] or found[1]}" if found else ""
    return (
        f"The chip on {job.port} is no ATmega328P{called}, and the firmware runs on no other: "
        "nothing was written; use a board with that chip."
    )


def _no_loader(job: Job, output: str) -> str:
    other = 57_600 if job.loader_baud != 57_600 else 115_200
    return (
        f"No boot loader answers on {job.port} at {job.loader_baud} bit/s, so nothing was written: "
        f"try --loader-baud {other}, which other boot loaders want, or press the board's reset "
        "button as writing begins; see 'benchd ports' for another port."
    )


def _mismatch(job: Job, output: str) -> str:
    return (
        f"What was read back from the board on {job.port} is not what was written, so {HALF}, "
        "with a shorter cable and a sound supply."
    )


_FAILURES: tuple[tuple[str, Callable[[Job, str], str]], ...] = (
    (r"expected signature for", _other_chip),
    (r"verif\w+ (error|mismatch)|content mismatch", _mismatch),
    (r"writing \d+ bytes flash|writing flash \(\d+ bytes\)", lambda job, _: broke_off(
        job, "broke off: cable or supply failed")),
    (r"permission denied", lambda job, _: ports.no_permission_sentence(job.port)),
    (r"resource busy|temporarily unavailable", lambda job, _: ports.busy_sentence(job.port)),
    (r"no such (file|device)", lambda job, _: ports.no_port_sentence(job.port)),
    (r"not in sync|not responding|read error|timeout", _no_loader),
)  # fmt: skip
"""What the program says, in order of what says most, and what that means."""


def why_not(job: Job, output: str, code: int) -> str:
    """Return one sentence for what the program said as it failed with this exit code."""
    said = _without_image(output, job.image)
    for pattern, sentence in _FAILURES:
        if re.search(pattern, said, re.IGNORECASE):
            return sentence(job, said)
    return (
        f"The program {PROGRAM} could not write the board on {job.port} (it ended with {code}); "
        "what it said stands in the log: keep the motor supply off, and look there."
    )


def _without_image(output: str, image: Path) -> str:
    # A name of a file could hold any of the words that are looked for.
    return output.replace(image.name, "the image")


def told(words: Sequence[str]) -> str:
    """Return a command line as a person would type it."""
    import shlex

    return shlex.join(words)
