# `make demo` and `make test` do everything, set-up included.
PYTHON ?= python3
VENV   ?= .venv
BIN     = $(VENV)/bin

.PHONY: demo test lint types bench soak venv dev lock clean

demo: $(VENV)/.core
	$(BIN)/fieldnote demo

test: $(VENV)/.dev
	$(BIN)/python -m pytest -q -n 2 -m "not soak" $(PYTEST_ARGS)

lint: $(VENV)/.dev
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy

soak: $(VENV)/.dev
	$(BIN)/python -m pytest -q -m soak

venv: $(VENV)/.core
dev: $(VENV)/.dev

$(VENV)/bin/python:
	$(PYTHON) -m venv $(VENV)

$(VENV)/.core: $(VENV)/bin/python requirements.lock pyproject.toml
	$(BIN)/python -m pip install -q --disable-pip-version-check --require-hashes -r requirements.lock
	$(BIN)/python -m pip install -q --disable-pip-version-check --no-deps -e .
	touch $@

$(VENV)/.dev: $(VENV)/.core requirements-dev.lock
	$(BIN)/python -m pip install -q --disable-pip-version-check --require-hashes -r requirements-dev.lock
	touch $@

# Exact versions with hashes, for every platform, naming no host. Needs uv.
lock:
	uv pip compile --universal --generate-hashes --no-emit-index-url --no-header -q pyproject.toml -o requirements.lock
	uv pip compile --universal --generate-hashes --no-emit-index-url --no-header -q --extra dev pyproject.toml -o requirements-dev.lock

clean:
	rm -rf $(VENV) demo-out build dist
