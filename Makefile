# demo and test each do everything on a bare machine (Python 3.11, pip, make, package registries).
PYTHON ?= python3
BIN := .venv/bin
export PIP_DISABLE_PIP_VERSION_CHECK := 1
# The matrices are small: threads of the linear algebra would only get in the way of one another.
export OPENBLAS_NUM_THREADS := 1

.PHONY: demo open test lint studies bench docs lock clean

demo: .venv/run.stamp
	$(BIN)/truekev demo

# Serves the invented lab's bench book, filled by `make demo`.
open: truekev-demo/lab.book
	$(BIN)/truekev serve --book $<

truekev-demo/lab.book: .venv/run.stamp
	$(BIN)/truekev demo

test: lint .venv/browser.stamp
	$(BIN)/pytest -n 2 --dist loadfile

lint: .venv/test.stamp
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy

# Long runs, resumable; results go to docs/validation with seed, date and commit.
studies: .venv/test.stamp
	$(BIN)/python -m studies

bench: .venv/test.stamp
	$(BIN)/python -m benchmarks

# Offline, into build/docs; the reference, the printed examples and the pictures are made from the program first.
docs: .venv/docs.stamp
	$(BIN)/python tools/build_reference.py
	$(BIN)/python tools/build_doc_examples.py
	$(BIN)/sphinx-build -W --keep-going -q -b html docs build/docs
	@echo "open build/docs/index.html"

.venv/bin/python:
	$(PYTHON) -m venv .venv

.venv/run.stamp: .venv/bin/python pyproject.toml requirements/run.lock
	$(BIN)/pip install -q -r requirements/run.lock
	$(BIN)/pip install -q --no-deps -e .
	touch $@

.venv/test.stamp: .venv/run.stamp requirements/test.lock
	$(BIN)/pip install -q -r requirements/test.lock
	touch $@

.venv/docs.stamp: .venv/run.stamp requirements/docs.lock
	$(BIN)/pip install -q -r requirements/docs.lock
	touch $@

# The browser of tests/web: the system's Chromium, else one from the system's packages, else playwright's own. Where none
# can be had the tests say so.
.venv/browser.stamp: .venv/test.stamp
	sh tools/provide_browser.sh $(BIN)/playwright
	touch $@

# Rewrites the lock files from pyproject.toml, requirements/test.in and requirements/docs.in.
lock:
	$(PYTHON) tools/lock.py

clean:
	rm -rf .venv build dist .pytest_cache .mypy_cache .ruff_cache
