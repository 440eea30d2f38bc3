# Two commands are all a fresh Debian machine needs: `make demo` and `make test`.
# Each makes .venv, and installs system packages where it may, or says which to install.

PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
OUT ?= demo_out
SEED ?= 20260601
# Compiled modules are kept whatever the machine says: the tests start this program hundreds of times.
export PYTHONDONTWRITEBYTECODE :=
# Kivy draws in software on a screen that need not exist.
SCREEN := LIBGL_ALWAYS_SOFTWARE=1 xvfb-run -a -s "-screen 0 1920x1200x24 -ac"

.PHONY: help demo test proof proof-slice bench audit lint types plates texts clean system-demo system-test venv

help:
	@echo "make demo              two tablets, a cabin, a review and the sheets (HEADLESS=1: without a display)"
	@echo "make test              everything that must hold, within ten minutes"
	@echo "make proof             the long soaks and the benchmarks"
	@echo "make audit             whether what is installed has known vulnerabilities"
	@echo "make plates            the portion plates and skeleton maps from their drafts"
	@echo "make texts             the translations, brought up to date with the English texts"
	@echo "make lint types        ruff and mypy alone (part of make test)"

system-demo:
	@sh .ci/system demo

system-test:
	@sh .ci/system test

venv: $(VENV)/.ready

$(VENV)/.ready: pyproject.toml
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable ".[test]"
	@touch $@

demo: system-demo venv
	$(BIN)/bonedocket demo --out $(OUT) $(if $(HEADLESS),--headless)

lint: venv
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .

types: venv
	$(BIN)/mypy fieldapp server demo_data

# English texts and translators' files to assets/translations.
texts: venv
	$(BIN)/python -m tests.translations

# From assets/drafts to assets/plates and assets/maps.
plates: venv
	$(BIN)/python -m tests.plates
	$(BIN)/python -m tests.plates.maps

test: system-test venv lint types
	$(SCREEN) $(BIN)/python -m pytest -n auto --dist loadfile --durations=25 --durations-min=3

# The same soaks, fewer rounds and a fixed seed: what CI can afford.
proof-slice: system-test venv
	PROOF_ROUNDS=20 PROOF_SEED=$(SEED) $(SCREEN) $(BIN)/python -m pytest -m proof -n auto

proof: system-test venv
	HYPOTHESIS_PROFILE=proof PROOF_ROUNDS=200 $(SCREEN) $(BIN)/python -m pytest -m "proof or not proof"
	$(MAKE) bench

bench: venv
	$(BIN)/python -m tests.benchmarks.save
	$(BIN)/python -m tests.benchmarks.open
	$(BIN)/python -m tests.benchmarks.merge
	$(BIN)/python -m tests.benchmarks.sync
	$(BIN)/python -m tests.benchmarks.check
	$(BIN)/python -m tests.benchmarks.sheets
	$(BIN)/python -m tests.benchmarks.counts
	$(SCREEN) $(BIN)/python -m tests.benchmarks.paint
	$(SCREEN) $(BIN)/python -m tests.benchmarks.plates
	$(BIN)/python -m tests.benchmarks.desk

# Fails on a known vulnerability; where there are no advisories it says so and goes on.
audit: venv
	$(BIN)/python -m tests.audit

clean:
	rm -rf $(VENV) demo_out build dist .pytest_cache .mypy_cache .ruff_cache .hypothesis
