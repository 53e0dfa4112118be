"""How well `benchd why` finds causes, measured on simulated tubes: `make grade`.

Prints one confusion table for each set of sensors. What was run stands at its head; nothing here
was measured on a real bench. A tube takes about a second of processor time, and all of them an
hour or two on two cores: `GRADE="--seeds 1 --healthy 12 --drawn 1"` is a first look. With
`--keep FOLDER` those made stay there, so that a run that was cut short goes on where it was, and a
longer one adds to it. What is kept is of one version of the simulator and of the firmware: empty
the folder when they change.
"""

from __future__ import annotations

import argparse
import pickle
import sys
import time
from collections import Counter
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import NamedTuple

from tests.grade import corpus
from tests.grade.corpus import DRAWN_APART, GRADING_FIRST, SHARES, Made, causes
from tests.grade.drawn import drawn
from tests.grade.score import FITS, HISTORY, SMALLEST, Score, Verdict, accused, score, verdict

Tubes = tuple[list[Made], list[Made]]
"""Sound tubes of a bench, and tubes of it with a cause."""

LEAST_SOUND = 3
"""Sound tubes of a bench: each is held against two others."""


def main() -> int:
    """Make the tubes, read them with each set of sensors, and print what came of it."""
    options = _options()
    began_s = time.monotonic()
    _say(_head(options))
    if options.seeds or options.healthy:
        made = {small: [tubes(options, small)] for small in (False, True)}
        for name, parts in FITS.items():
            show(name, parts, made[parts == SMALLEST])
    if options.drawn:
        drawn_too(options)
    _say(f"Took {time.monotonic() - began_s:.0f} s.")
    return 0


def _head(options: argparse.Namespace) -> str:
    first = options.first
    tuned = f"the tables of causes and signals were tuned on seeds below {GRADING_FIRST}"
    if first >= GRADING_FIRST:
        apart = f"For grading: {tuned}, none of these among them."
    else:
        apart = f"For tuning, no grade: {tuned}."
    return (
        f"Seeds from {first}: {options.seeds} with each of {len(causes())} faults in "
        f"{len(SHARES)} severities, {options.healthy} of sound tubes; from {first + DRAWN_APART}: "
        f"{options.drawn} of drawn benches. {HISTORY} sound tubes stand before each.\n{apart}"
    )


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="make grade")
    parser.add_argument(
        "--seeds", type=int, default=10, help="of each cause and severity (default 10)"
    )
    parser.add_argument(
        "--healthy",
        type=int,
        default=780,
        help=f"sound tubes of 14 portions, at least {LEAST_SOUND} (default 780)",
    )
    parser.add_argument(
        "--drawn",
        type=int,
        default=4,
        help="benches and dough cards drawn at random, each with every cause and severity once "
        "(default 4)",
    )
    parser.add_argument("--jobs", type=int, default=2, help="tubes made at once (default 2)")
    parser.add_argument("--first", type=int, default=GRADING_FIRST, help="first seed")
    parser.add_argument(
        "--keep", type=Path, metavar="FOLDER", help="keep tubes there, and take those that are"
    )
    return parser.parse_args()


class Job(NamedTuple):
    """A tube to be made. drawn: on the bench drawn by its seed, else on the example's."""

    cause: str
    share: float
    seed: int
    smallest: bool
    drawn: bool = False
    keep: Path | None = None


def tubes(options: argparse.Namespace, smallest: bool) -> Tubes:
    """Return the simulated tubes of the example's bench of one kind."""
    seeds = range(options.first, options.first + options.healthy)
    sound = [Job("", 1.0, seed, smallest, keep=options.keep) for seed in seeds]
    wrong = [
        Job(*one, smallest, keep=options.keep) for one in corpus.plan(options.seeds, options.first)
    ]
    return _made(sound, wrong, options.jobs)


def drawn_too(options: argparse.Namespace) -> None:
    """The same on benches and dough cards unlike the example's."""
    made: dict[bool, list[Tubes]] = {False: [], True: []}
    for at in range(options.drawn):
        seed = options.first + DRAWN_APART + at
        for small in made:
            words = drawn(seed, small).words
            _say(f"\nDrawn bench {seed}{', smallest' if small else ''}: {words}.")
            like = (small, True, options.keep)
            sound = [Job("", float(k), seed, *like) for k in range(1, 1 + LEAST_SOUND)]
            wrong = [Job(*one, *like) for one in corpus.plan(1, seed)]
            made[small].append(_made(sound, wrong, options.jobs))
    for name, parts in FITS.items():
        show(f"drawn benches, {name}", parts, made[parts == SMALLEST])


def _made(sound: Sequence[Job], wrong: Sequence[Job], jobs: int) -> Tubes:
    everything = (*sound, *wrong)
    made: list[Made] = []
    with ProcessPoolExecutor(jobs) as pool:
        for job, one in zip(everything, pool.map(_one, everything), strict=True):
            made.append(one)
            _progress(f"{job.cause or 'sound':20} {job.share:4} {job.seed}  ")
    _progress("")
    return made[: len(sound)], made[len(sound) :]


def _one(job: Job) -> Made:
    if job.keep is None:
        return _make(job)
    where = "drawn" if job.drawn else "example"
    bench = "smallest" if job.smallest else "all"
    file = job.keep / f"{job.cause or 'sound'} {job.share} {job.seed} {bench} {where}"
    if file.exists():
        made: Made = pickle.loads(file.read_bytes())
        return made
    made = _make(job)
    job.keep.mkdir(parents=True, exist_ok=True)
    part = file.with_name(f"{file.name}.part")
    part.write_bytes(pickle.dumps(made))
    part.rename(file)  # Whole, or not there: a run may be cut short at any time.
    return made


def _make(job: Job) -> Made:
    place = drawn(job.seed, job.smallest) if job.drawn else None
    return corpus.make(job.cause, job.share, job.seed, smallest=job.smallest, place=place)


def _progress(text: str) -> None:
    sys.stderr.write(f"\r{text:40}\r")
    sys.stderr.flush()


def show(
    name: str,
    parts: frozenset[str],
    made: Sequence[Tubes],
    say: Callable[[str], None] = print,
) -> None:
    """Print the table of one set of sensors; made: the tubes of each bench."""
    verdicts: list[Verdict] = []
    left_out = 0
    for sound, wrong in made:
        for at, tube in enumerate(wrong):
            told = verdict(tube, _earlier(sound, 2 * at), parts)
            if told is None:
                left_out += 1
            else:
                verdicts.append(told)
    say(f"\n== {name}: {', '.join(sorted(parts))}")
    say(
        f"   {'cause':6} {'injected as':16} {'tubes':>5} {'none':>5} {'alone':>5} {'group':>5} "
        f"{'wrong':>5}  named in its place"
    )
    for cause in dict.fromkeys(one.cause for one in verdicts):
        say(_line([one for one in verdicts if one.cause == cause]))
    _figures(score(verdicts), left_out, say)
    counts = [
        accused(tube, _earlier([other for other in sound if other is not tube], at), parts)
        for sound, _ in made
        for at, tube in enumerate(sound)
    ]
    portions, bad, stuck, named = (sum(column) for column in zip(*counts, strict=True))
    say(
        f"   sound portions accused: {bad} of {portions}; besides, {stuck} pieces stuck to the "
        f"blade without a fault, {named} of them named so"
    )


def _earlier(sound: Sequence[Made], at: int) -> list[Made]:
    return [sound[(at + k) % len(sound)] for k in range(HISTORY)]


def _line(verdicts: Sequence[Verdict]) -> str:
    first = verdicts[0]
    none = sum(not one.told for one in verdicts)
    alone = sum(len(one.named) == 1 and one.right for one in verdicts)
    group = sum(len(one.named) > 1 and one.right for one in verdicts)
    wrong = [one for one in verdicts if one.told and not one.right]
    instead = Counter(one.named[0] if one.named else "can't tell" for one in wrong)
    named = ", ".join(f"{code} {count}" for code, count in instead.most_common(3))
    return (
        f"   {first.codes[0]:6} {first.cause:16} {len(verdicts):5} {none:5} {alone:5} {group:5} "
        f"{len(wrong):5}  {named}"
    )


def _figures(got: Score, left_out: int, say: Callable[[str], None]) -> None:
    say(
        f"   of {got.tubes} tubes {got.told} showed something odd ({left_out} more left out: ended "
        "by a sensor that this bench lacks)"
    )
    say(
        f"   separable: {got.separable}, right first {_share(got.first, got.separable)}, in the "
        f"first two {_share(got.in_two, got.separable)}"
    )
    say(
        f"   not separable: {got.inseparable}, right in a group that was named "
        f"{_share(got.group, got.inseparable)}; besides {got.alone_right} alone and right"
    )
    say(f"   one wrong cause stated as likely: {_share(got.alone_wrong, got.told)}")


def _share(part: int, of: int) -> str:
    return f"{100 * part / of:.1f} % ({part} of {of})" if of else "none"


def _say(text: str) -> None:
    print(text, flush=True)


if __name__ == "__main__":
    raise SystemExit(main())
