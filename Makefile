# Two commands do everything on a fresh machine: `make demo` and `make test`. The rest is for whoever works on the house.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
READY := $(VENV)/.ready

.PHONY: demo test check lint types contracts javascript browser perf screenshots clean
.DEFAULT_GOAL := help

help:
	@echo "make demo         the main job on the simulated device: prints an address to open in a browser"
	@echo "make test         all tests of the fast tier"
	@echo "make check        lint, types, import contracts, JavaScript checks"
	@echo "make perf         timings as ratios, written to tests/perf/results.md"
	@echo "make screenshots  pictures of the page, into tests/screenshots/"

$(READY): pyproject.toml
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || { echo "python3 is too old: $$($(PYTHON) -V); install Python 3.11 or newer"; exit 2; }
	@$(PYTHON) -c 'import ensurepip' 2>/dev/null || { echo "python3 has no venv module; run: apt-get install python3-venv"; exit 2; }
	$(PYTHON) -m venv $(VENV)
	$(BIN)/pip install --quiet --disable-pip-version-check --editable '.[dev]'
	@touch $@

demo: $(READY)
	$(BIN)/tapetum demo

test: $(READY) browser
	$(BIN)/pytest -n 2 --dist loadfile

check: lint types contracts javascript

lint: $(READY)
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .

types: $(READY)
	$(BIN)/mypy

contracts: $(READY)
	$(BIN)/lint-imports

javascript: web_ui/node_modules/.ready
	cd web_ui && PATH="$(CURDIR)/$(BIN):$$PATH" npm run --silent types
	cd web_ui && PATH="$(CURDIR)/$(BIN):$$PATH" npm run --silent lint
	cd web_ui && PATH="$(CURDIR)/$(BIN):$$PATH" npm run --silent test

web_ui/node_modules/.ready: $(READY) web_ui/package-lock.json
	cd web_ui && PATH="$(CURDIR)/$(BIN):$$PATH" npm ci --silent
	@touch $@

screenshots: $(READY) browser
	$(BIN)/python -m tests.web_ui.browser.screenshots

browser: $(READY)
	@command -v chromium >/dev/null || tests/bring_chromium.sh

perf: $(READY)
	$(BIN)/python -m tests.perf

clean:
	rm -rf $(VENV) build dist *.egg-info
