# make demo   set up everything and draft an estimate from a recorded walk-around
# make serve  set up everything and open the shop on this machine (SERVE="--host 0.0.0.0 --https" for phones)
# make test   set up everything and run the tests
# make check  lint, format, types, tests
# make measure / make results   accuracy and speed on the sample narrations

PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
WEIGHTS ?= base
DEMO ?= $(firstword $(filter-out %noise10.opus,$(wildcard samples_synthetic/tune/pickup-leaks.*.opus)))

.PHONY: demo serve test check lint types measure results weights lock clean
.DEFAULT_GOAL := demo

$(VENV)/made:
	@$(PYTHON) -c 'import sys; sys.exit(0 if sys.version_info >= (3, 11) else "voicecheck needs Python 3.11 or newer: make PYTHON=python3.11 …")'
	$(PYTHON) -m venv $(VENV)
	@touch $@

$(VENV)/installed: $(VENV)/made requirements.lock pyproject.toml
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements.lock
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation -e .
	@touch $@

$(VENV)/installed-dev: $(VENV)/installed requirements-dev.lock
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements-dev.lock
	@touch $@

weights: $(VENV)/installed
	@$(BIN)/voicecheck weights $(WEIGHTS) >/dev/null

demo: $(VENV)/installed weights
	@mkdir -p demo_out
	$(BIN)/voicecheck draft $(DEMO) --model $(WEIGHTS) \
		--html demo_out/draft.html --csv demo_out/draft.csv --json-out demo_out/draft.json

serve: $(VENV)/installed weights
	$(BIN)/voicecheck serve --data shop_data $(SERVE)

test: $(VENV)/installed-dev weights
	@$(BIN)/voicecheck weights tiny.en >/dev/null
	$(BIN)/python -m pytest -n auto $(PYTEST)

lint: $(VENV)/installed-dev
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .

types: $(VENV)/installed-dev
	$(BIN)/mypy
	@for file in tests/*/conftest.py; do $(BIN)/mypy --no-error-summary $$file || exit 1; done

check: lint types test

measure: $(VENV)/installed weights
	$(BIN)/voicecheck measure samples_synthetic/tune
	$(BIN)/voicecheck measure samples_synthetic/hold

results: $(VENV)/installed weights
	$(BIN)/python benchmarks/run.py

# Needs uv (development only): pins every package with hashes for all platforms.
lock:
	uv pip compile --universal --generate-hashes --python-version 3.11 --no-header --group build pyproject.toml -o requirements.lock
	uv pip compile --universal --generate-hashes --python-version 3.11 --no-header --group build --group dev pyproject.toml -c requirements.lock -o requirements-dev.lock

clean:
	rm -rf $(VENV) demo_out .mypy_cache .ruff_cache .pytest_cache .hypothesis
