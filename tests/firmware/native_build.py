"""Builds the harnesses of tests/firmware/native around the firmware core, and runs them."""

from __future__ import annotations

import hashlib
import os
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from protocols import limits, messages
from protocols.codec import Word
from protocols.framing import frame
from sim.build_core import OUT_DIR, SOURCE_DIRS, compiler, sources

HERE = Path(__file__).parent / "native"
PLACE = OUT_DIR / "native"
KINDS = {"raw": 0.95, "repaired": 0.05}
"""Share of the executions: a repaired one runs for some tenths of a second of board time."""

MISSING = (
    "************ MISSING: clang and its runtime: the firmware's line input is not fuzzed; install "
    "them with: sudo apt-get install --no-install-recommends clang libclang-rt-14-dev"
)
SANITIZERS = "-fsanitize=fuzzer,address,undefined"
FUZZ_FLAGS = ("-O2", "-g", "-std=gnu++11", "-Wall", SANITIZERS, "-fno-sanitize-recover=all")

READY = {
    "fitted": 0b111_1111_1111, "travel_min": -100_000, "travel_max": 400_000, "eye_on": 500,
    "eye_off": 300, "air_min": 1000, "air_max": 4000, "accel": 40_000, "return_ms": 20,
    "lease_ms": 200, "held_ms": 80, "return_max_ms": 150, "cut_max_ms": 120,
    "cut_ms": 20, "still_ms": 20,
}  # fmt: skip
"""Limits of the board that is ready at the start of a run; the others are those of its boot."""

WALKED = {
    "fitted": 0b1111, "travel_min": -100_000, "travel_max": 400_000, "accel": 500_000,
    "stop_decel": 500_000, "lease_ms": 100, "held_ms": 50, "return_max_ms": 100,
    "cut_max_ms": 60, "valve_max_ms": 90, "still_ms": 20, "release_ms": 0,
}  # fmt: skip
"""Limits for the walk through all states: guard, stop, home and far are fitted, and waits are
short."""


def has_fuzzer() -> bool:
    """Whether clang is here and links its fuzzer."""
    clang = shutil.which("clang++")
    if clang is None:
        return False
    with tempfile.TemporaryDirectory() as folder:
        source = Path(folder) / "a.cpp"
        source.write_text(
            'extern "C" int LLVMFuzzerTestOneInput(const unsigned char *, unsigned long) '
            "{ return 0; }\n"
        )
        command = [clang, SANITIZERS, str(source), "-o", str(Path(folder) / "a")]
        return subprocess.run(command, capture_output=True, check=False).returncode == 0


def spec_lines(ready: Mapping[str, int]) -> str:
    """Return the C++ tables of all the board may say, and of the limits it is made ready with."""
    lines: list[str] = []
    fields: list[str] = []
    for tag, spec in messages.MESSAGES.items():
        if not issubclass(spec.cls, messages.BoardMessage):
            continue
        event = str(issubclass(spec.cls, messages.Event)).lower()
        lines.append(f'{{"{tag}", {len(fields)}, {len(spec.fields)}, {event}}}')
        for _, field in spec.fields:
            if isinstance(field, Word):
                fields.append(f"{{{field.length}, 0, 0}}")
            else:
                fields.append(f"{{0, {field.low}, {field.high}}}")
    key = {limit.name: limit.key for limit in limits.LIMITS}
    values = [f"{{{key[name]}, {value}}}" for name, value in ready.items()]
    return (
        "struct SpecLine { const char *tag; uint32_t first; uint32_t count; bool event; };\n"
        "struct SpecField { uint32_t word; long long low; long long high; };\n"
        "struct SpecValue { uint32_t key; int32_t value; };\n"
        f"static const SpecLine SPEC_LINES[] = {{{', '.join(lines)}}};\n"
        f"static const SpecField SPEC_FIELDS[] = {{{', '.join(fields)}}};\n"
        f"static const SpecValue SPEC_READY[] = {{{', '.join(values)}}};\n"
    )


def build(name: str, command: Sequence[str], core: Path | None = None) -> Path:
    """Build the harness `native/NAME.cpp` with this compiler; `core` takes the place of the core's
    folder, for a core that was broken on purpose. What is up to date is not built again."""
    files = [*sources(SOURCE_DIRS), *sorted(HERE.iterdir())]
    tables = spec_lines(READY if name == "fuzz" else WALKED)
    total = hashlib.sha256("\0".join((*command, tables)).encode())
    for path in files:
        total.update(path.read_bytes())
    made, stamp = PLACE / name, PLACE / f"{name}.digest"
    if core is None and made.is_file() and stamp.is_file():
        if stamp.read_text("ascii") == total.hexdigest():
            return made
    PLACE.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=PLACE) as scratch_name:
        scratch = Path(scratch_name)
        tree = scratch / "tree"
        shutil.copytree(SOURCE_DIRS[0].parent, tree / "protocols" / "firmware")
        shutil.copytree(HERE, tree / "tests" / "firmware" / "native")
        if core is not None:
            shutil.copytree(core, tree / "protocols" / "firmware" / "core", dirs_exist_ok=True)
        (scratch / "spec_lines.h").write_text(tables)
        copies = [tree / "protocols" / "firmware" / part for part in ("core", "host")]
        units = [str(path) for path in sources(copies) if path.suffix == ".cpp"]
        harness = tree / "tests" / "firmware" / "native" / f"{name}.cpp"
        target = scratch / name
        subprocess.run(
            [*command, f"-I{scratch}", *units, str(harness), "-o", str(target)], check=True
        )
        if core is not None:
            kept = core / name
            os.replace(target, kept)
            return kept
        os.replace(target, made)
        (scratch / "digest").write_text(total.hexdigest(), "ascii")
        os.replace(scratch / "digest", stamp)
    return made


def fuzzer() -> Path:
    """Build the fuzzer with both sanitizers; needs clang."""
    return build("fuzz", ["clang++", *FUZZ_FLAGS])


def explorer(core: Path | None = None) -> Path:
    """Build the walk through all states with the system's compiler."""
    quick = "-O2" if core is None else "-O0"  # a broken core is found before the walk gets long
    return build("reach", [*compiler(), quick, "-std=gnu++11", "-Wall"], core)


SEEDS = (
    "move # 0 400 2000 @\n\xca", "move # 0 -400 2000 @\n\xc9", "move # 1 4000 8000 @\n\x01\xc9",
    "move # 2 -900 8000 @\n\xca", "move # 3 900 900 @\n\xc9\xec\xca", "move # 4 900 90 @\n\xe7\xca",
    "draft # 3 0 20 8000\ndetail # 3 50 9 9\nrun # 3 0 @\n\xca\x01\x82\xc9\x83\x01\xca\x83\x82\xca",
    "draft # 3 50 200 8000\ndetail # 3 0 0 0\nrun # 3 1 @\n\xc8\x87\xca\x01\x82\xca\x83\xca",
    "arm #\nfire # @\n\xc6\x82\xc9\x83\xc9\x83\x82\xca", "stop 0\nmove # 0 9 9 @\nstop 1\n",
    "move # 0 30000 8000 @\n\xc9\x80\xc9\x80clear # 2\ndrive # 1\n", "lock # 1\n\x85\xca\x85",
    "\x85\xca\x84\xca\x85\x84clear # 14\n\x86\xca\x86", "set # 1 7\nadopt # 0\nhello\nhere # 9\n",
)  # fmt: skip
"""How fuzzing begins: lines, and bytes beyond ASCII for pins, readings and time; see fuzz.cpp."""


def seeds(kind: str, folder: Path) -> None:
    """Write what a fuzzer begins with, and the words of the wire as its dictionary."""
    corpus = folder / "corpus"
    corpus.mkdir(parents=True)
    for number, seed in enumerate(SEEDS):
        text = seed
        if kind == "raw":
            lines = (
                re.sub(r"[\x80-\xff]", "", seed).replace("@", "1").replace("#", "60").split("\n")
            )
            text = "".join(framed(line) for line in lines if line.isprintable() and line)
        (corpus / f"{number}").write_bytes(b"1" + text.encode("latin-1"))
    words = [f'"{tag} "' for tag in messages.MESSAGES]
    (folder / "words").write_text("\n".join(words) + "\n")


def framed(body: str) -> str:
    """One line with its check value."""
    return frame(body.encode()).decode()


def fuzz(
    kind: str, runs: int, folder: Path, seed: int = 1, *, seconds: int = 0
) -> subprocess.CompletedProcess[str]:
    """Run so many executions of one kind, or as many as go into some seconds; the folder keeps the
    corpus and what was found."""
    if not (folder / "corpus").is_dir():
        seeds(kind, folder)
    command = [str(fuzzer()), f"-runs={runs}", f"-max_total_time={seconds}", f"-seed={seed}",
               "-max_len=250", "-timeout=20",
               f"-dict={folder / 'words'}", "-print_final_stats=1", "-verbosity=1",
               f"-artifact_prefix={folder}/", str(folder / "corpus")]  # fmt: skip
    return subprocess.run(
        command, capture_output=True, text=True, errors="replace", check=False,
        env=os.environ | {"BENCHD_FUZZ": kind},
    )  # fmt: skip


def executions(said: str) -> int:
    """How many executions a run of the fuzzer says it made."""
    found = re.search(r"stat::number_of_executed_units: (\d+)", said)
    return int(found[1]) if found else 0


def soak(runs: int) -> int:
    """`make soak`: so many executions in all, shared as KINDS says, both kinds at the same time; 1
    where one found something."""
    if not has_fuzzer():
        sys.stderr.write(MISSING + "\n")
        return 1 if os.environ.get("CI") == "true" else 0
    place = fuzzer().parent
    folders = {kind: Path(tempfile.mkdtemp(prefix=f"{kind}-", dir=place)) for kind in KINDS}
    # Another one each time, so that one soak adds to those before.
    seed = int(os.environ.get("BENCHD_SEED") or 1 + int.from_bytes(os.urandom(3), "big"))
    sys.stdout.write(f"BENCHD_SEED={seed} repeats it\n")
    done = 0
    with ThreadPoolExecutor(len(KINDS)) as pool:
        runs_of = {
            kind: pool.submit(fuzz, kind, round(runs * share), folders[kind], seed)
            for kind, share in KINDS.items()
        }
    for kind, run in runs_of.items():
        ended = run.result()
        done += executions(ended.stderr)
        sys.stdout.write(f"{kind}: {executions(ended.stderr)} executions\n")
        if ended.returncode != 0:
            sys.stderr.write(ended.stderr[-6000:])
            sys.stderr.write(f"\nWhat did it is kept in {folders[kind]}.\n")
            return 1
        shutil.rmtree(folders[kind])
    sys.stdout.write(f"{done} executions in all, nothing found\n")
    return 0


if __name__ == "__main__":
    raise SystemExit(soak(int(sys.argv[1])))
