"""The house rules of tests/conftest.py, each tried on a small test run of its own."""

from __future__ import annotations

from pathlib import Path

import pytest

pytestmark = pytest.mark.slow

CONFTEST = Path(__file__).parent.parent / "conftest.py"
SKIPS = """
    import pytest

    def test_skipped():
        pytest.skip("no broker here")
"""
WHOLE_FILE_SKIPS = """
    import pytest

    pytest.skip("no broker here", allow_module_level=True)
"""
EXPECTED_TO_FAIL = """
    import pytest

    @pytest.mark.xfail(strict=True)
    def test_expected_to_fail():
        raise AssertionError
"""
SHOWS_SEED = """
    def test_seeded(seed):
        raise AssertionError(f"seed was {seed}")
"""
TAKES_LONG = """
    import pytest
    from time import process_time

    def spin(cpu_s):
        start = process_time()
        while process_time() - start < cpu_s:
            pass

    def test_unmarked():
        spin(0.3)

    @pytest.mark.slow
    def test_marked():
        spin(1.1)
"""


class Runner:
    """Runs one small test file in a process of its own, under our conftest."""

    def __init__(self, pytester: pytest.Pytester, monkeypatch: pytest.MonkeyPatch) -> None:
        self.pytester = pytester
        self.monkeypatch = monkeypatch
        pytester.makeconftest(CONFTEST.read_text("utf-8"))
        pytester.makeini("[pytest]\nmarkers = slow: slow")

    def __call__(self, test: str, *args: str, **environ: str) -> pytest.RunResult:
        for name in ("CI", "BENCHD_SEED"):
            self.monkeypatch.delenv(name, raising=False)
        for name, value in environ.items():
            self.monkeypatch.setenv(name, value)
        # Other plugins have no part in this and take seconds to load.
        self.monkeypatch.setenv("PYTEST_DISABLE_PLUGIN_AUTOLOAD", "1")
        self.pytester.makepyfile(test)
        return self.pytester.runpytest_subprocess("-p", "xdist", "-p", "no:cacheprovider", *args)


@pytest.fixture
def run(pytester: pytest.Pytester, monkeypatch: pytest.MonkeyPatch) -> Runner:
    return Runner(pytester, monkeypatch)


@pytest.mark.parametrize("test", [SKIPS, WHOLE_FILE_SKIPS])
def test_a_skip_stays_a_skip_outside_ci(run: Runner, test: str) -> None:
    assert run(test).parseoutcomes() == {"skipped": 1}


def test_a_skip_fails_in_ci_and_says_why(run: Runner) -> None:
    result = run(SKIPS, CI="true")
    assert result.ret == pytest.ExitCode.TESTS_FAILED
    assert result.parseoutcomes() == {"failed": 1}
    result.stdout.fnmatch_lines(["*CI does not allow*no broker here*"])


def test_a_skipped_file_fails_in_ci_and_says_why(run: Runner) -> None:
    result = run(WHOLE_FILE_SKIPS, CI="true")
    assert result.ret not in (pytest.ExitCode.OK, pytest.ExitCode.NO_TESTS_COLLECTED)
    result.stdout.fnmatch_lines(["*CI does not allow*no broker here*"])


def test_a_skip_fails_in_ci_with_several_processes(run: Runner) -> None:
    assert run(SKIPS, "-n", "1", CI="true").parseoutcomes() == {"failed": 1}


def test_an_expected_failure_is_no_skip(run: Runner) -> None:
    assert run(EXPECTED_TO_FAIL, CI="true").parseoutcomes() == {"xfailed": 1}


def test_a_seed_can_be_replayed(run: Runner) -> None:
    result = run(SHOWS_SEED, BENCHD_SEED="4711")
    result.stdout.fnmatch_lines(["*seed was 4711*", "*BENCHD_SEED=4711 replays this test.*"])


def test_a_failure_shows_the_seed_that_was_drawn(run: Runner) -> None:
    text = run(SHOWS_SEED).stdout.str()
    used = text.split("seed was ")[-1].split()[0]
    assert f"BENCHD_SEED={used} replays this test." in text


def test_ci_draws_the_same_seed_each_time(run: Runner) -> None:
    seeds = [
        run(SHOWS_SEED, CI="true").stdout.str().split("seed was ")[-1].split()[0] for _ in "ab"
    ]
    assert seeds[0] == seeds[1]


def test_a_long_test_is_listed_and_passes(run: Runner) -> None:
    result = run(TAKES_LONG)
    assert result.ret == pytest.ExitCode.OK
    listed = [line for line in result.outlines if " s  " in line]
    assert len(listed) == 1
    assert "test_unmarked" in listed[0]


@pytest.mark.parametrize("processes", ["0", "1"])
def test_a_test_that_works_for_far_too_long_fails(run: Runner, processes: str) -> None:
    result = run(TAKES_LONG.replace("spin(0.3)", "spin(1.1)"), "-n", processes)
    assert result.parseoutcomes() == {"failed": 1, "passed": 1}
    result.stdout.fnmatch_lines(["*_ test_unmarked _*", "*of processor time: mark it slow*"])
