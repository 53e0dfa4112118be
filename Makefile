# `make` alone lists what there is to make. Everything stays inside this folder, except for the
# system packages of `make system`.

PYTHON ?= python3
# Branch coverage that protocols and benchd/core must reach, in percent.
COVER_MIN ?= 100
# Slow tests that cover what no fast one does; counting branches doubles what the others take.
SLOW_COVER := tests/protocols/conform
# Executions of `make soak`.
SOAK_RUNS ?= 10000000
# Test processes at a time.
JOBS ?= auto
# Of the slow tests, which mostly wait for clocks and terminals, twice as many.
SLOW_JOBS ?= $(shell expr 2 '*' `getconf _NPROCESSORS_ONLN`)
# Exit code 1 says that tests failed, any other that they did not run to their end. A slow test measures
# time beside others that want the same cores: what failed so is asked once more, alone, and stands in
# the output either way.
ONCE_MORE = { [ $$? = 1 ] && echo "*** Failed beside other tests; once more, one at a time:" && \
	$(PYTEST) --last-failed --last-failed-no-failures none -m slow $(SLOW_COVER:%=--ignore=%); }
# A shell that forbids byte code makes each test process compile and rewrite all tests anew.
unexport PYTHONDONTWRITEBYTECODE

BIN := .venv/bin
PYTEST := $(BIN)/python -m pytest
COVER := --cov --cov-config=pyproject.toml --cov-report=

.DEFAULT_GOAL := help
.PHONY: help setup demo test check format lint types imports bench grade soak firmware system clean

help:  ## list the targets
	@awk -F ':.*## ' '/^[a-z]+:.*## / { printf "make %-8s %s\n", $$1, $$2 }' Makefile

setup: .venv/ready-for-tests  ## make .venv and install benchd with what its tests need

demo: .venv/ready-to-run  ## set up, then run portions on the simulated bench
	$(BIN)/benchd demo

test: system setup lint types imports  ## set up, then run every check and every test
	$(PYTEST) -n $(JOBS) -m "not slow" $(COVER)
	$(PYTEST) -n $(JOBS) -m slow $(SLOW_COVER) $(COVER) --cov-append
	$(BIN)/coverage report --fail-under=$(COVER_MIN)
	$(PYTEST) -n $(SLOW_JOBS) -m slow $(SLOW_COVER:%=--ignore=%) --durations 40 || $(ONCE_MORE)

check: setup lint types imports  ## what to run before a commit: format, lint, types, imports, fast tests
	$(PYTEST) -n $(JOBS) -m "not slow"

format: setup  ## rewrite the Python files in the house format
	$(BIN)/ruff format .
	$(BIN)/ruff check --fix-only --quiet .

lint: setup  ## check format and lint
	$(BIN)/ruff format --check .
	$(BIN)/ruff check .

types: setup  ## check types
	$(BIN)/mypy

imports: setup  ## check who imports whom
	$(BIN)/lint-imports --no-logo

bench: setup  ## measure speed
	$(BIN)/python -m tests.bench

grade: setup  ## measure how well causes are found, on simulated tubes, in an hour or two (GRADE="--seeds 1")
	$(BIN)/python -m tests.grade $(GRADE)

soak: setup system  ## fuzz the firmware's line input SOAK_RUNS times, and try its reaction at every cycle
	$(BIN)/python -m tests.firmware.native_build $(SOAK_RUNS)
	$(BIN)/python -m tests.sim.avr.edges

firmware:  ## build the 8-bit board's firmware, and show what it takes of the chip
	@$(PYTHON) -m sim.avr

system:  ## install the system packages that some tests need, where that is allowed
	@.ci/system tests

clean:  ## remove everything that was made here, .venv too
	rm -rf .venv build dist *.egg-info sim/_core .coverage .coverage.* htmlcov
	rm -rf .mypy_cache .pytest_cache .ruff_cache .import_linter_cache .hypothesis
	find . -name __pycache__ -type d -prune -exec rm -rf {} +

# A machine without a C++ compiler gets one from PyPI, to build the firmware core when it changes.
HAS_COMPILER := $(shell command -v c++ || command -v g++ || command -v clang++)
RUN_EXTRAS := $(if $(HAS_COMPILER),,[compiler])
TEST_EXTRAS := $(if $(HAS_COMPILER),[test],[test,compiler])

# The stamps make the second call quick; they age when the requirements or the build change.
INSTALL_INPUTS := pyproject.toml sim/build_backend.py sim/build_core.py

.venv/bin/python:
	@.ci/system venv $(PYTHON)
	$(PYTHON) -m venv --clear .venv

.venv/ready-to-run: .venv/bin/python $(INSTALL_INPUTS)
	@echo "About to install into .venv: benchd and the libraries it runs on (pyproject.toml, dependencies)."
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable '.$(RUN_EXTRAS)'
	@touch $@

.venv/ready-for-tests: .venv/bin/python $(INSTALL_INPUTS)
	@echo "About to install into .venv: benchd, the libraries it runs on, and those of its tests"
	@echo "(pyproject.toml, dependencies and optional-dependencies)."
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable '.$(TEST_EXTRAS)'
	@touch $@ .venv/ready-to-run
