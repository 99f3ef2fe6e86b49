# Two commands do everything on a fresh machine: `make demo` and `make test`. The rest is for whoever works on the house.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
PIP := $(BIN)/pip install --quiet --disable-pip-version-check --use-pep517
# What the program needs, and what its tests need besides: the demo does not wait for the tests' tools.
READY := $(VENV)/.ready
TOOLS := $(VENV)/.tools
# The page's own libraries, from the package registry by lock file; never kept with the project.
LIBRARIES := web_ui/static/libraries/.ready
# Of pytest's plugins those that tests use: to import the others took as long as all the rest of its start, in every worker.
export PYTEST_DISABLE_PLUGIN_AUTOLOAD := 1
export PYTEST_PLUGINS := xdist.plugin,pytest_timeout,_hypothesis_pytestplugin
# Every test starts processes, each of which would compile all of the source anew where a shell forbids to keep it.
export PYTHONDONTWRITEBYTECODE :=
NODE := PATH="$(CURDIR)/$(BIN):$$PATH"
NPM_CI := npm ci --loglevel=error
NO_NPM := echo "the page's libraries did not come from npm's registry (its own words above): is there a network? \
where it asks for a certificate of its own, name that in NODE_EXTRA_CA_CERTS"

# Whole programs that wait for frames and not for the processor: the others run one after the other, for a late frame trips their light.
TWO_AT_A_TIME := $(addprefix tests/bench/test_,calibrate.py calibrate_light.py full_disk.py replay_demo.py)

.DEFAULT_GOAL := help
.PHONY: help demo test check lint types contracts javascript kernels packages libraries perf explore hardware circuits faults screenshots clean

help:
	@echo "make demo         the main job on the simulated device: prints an address to open in a browser"
	@echo "make test         all tests of the fast tier"
	@echo "make check        lint, types, import contracts, JavaScript checks"
	@echo "make perf         timings as ratios, written to tests/perf/results.md"
	@echo "make hardware     wiring, printed parts as STL and pictures, parts list, power and heat"
	@echo "make circuits     every single fault and 2000 boards drawn at random, in ngspice (6 to 15 minutes)"
	@echo "make faults       hundreds of random faults on the real processes, written to tests/faults/results.md (20 minutes)"
	@echo "make explore      property tests on new random examples, many of each (slow)"
	@echo "make screenshots  pictures of the page, into tests/screenshots/"

$(READY): pyproject.toml
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || { echo "$$($(PYTHON) -V) is too old; install Python 3.11 or newer, or name one: make PYTHON=python3.11"; exit 2; }
	@$(PYTHON) -c 'import ensurepip' 2>/dev/null || { echo "python3 has no venv module; as root: apt-get install python3-venv"; exit 2; }
	@echo "setting up $(VENV) (once; takes about a minute)"
	@$(PYTHON) -m venv $(VENV)
	@$(PIP) --editable .
	@touch $@

$(TOOLS): $(READY)
	@echo "setting up what the tests need (once; takes about a minute)"
	@$(PIP) --editable '.[dev]'
	@touch $@

$(LIBRARIES): $(READY) web_ui/package-lock.json web_ui/bring_libraries.js
	@echo "bringing the page's libraries (once)"
	@$(PIP) --editable '.[page]'
	@mkdir -p build/page && cp web_ui/package.json web_ui/package-lock.json web_ui/.npmrc build/page/
	@cd build/page && $(NODE) $(NPM_CI) --omit=dev >/dev/null || { $(NO_NPM); exit 2; }
	@$(NODE) node web_ui/bring_libraries.js build/page/node_modules web_ui/static/libraries
	@touch $@

libraries: $(LIBRARIES)

demo: $(READY) $(LIBRARIES)
	@$(BIN)/tapetum demo

# While packages come over the network, kernels are compiled.
test: $(TOOLS) $(LIBRARIES) web_ui/node_modules/.ready
	@$(MAKE) --no-print-directory --jobs=2 packages kernels
	$(BIN)/pytest -n 2 --dist loadfile --ignore=tests/bench --ignore=tests/faults --ignore=tests/web_ui/browser --junit-xml=build/tests/first.xml
	$(BIN)/pytest -n 2 tests/web_ui/browser --ignore-glob='*/test_whole_job*.py' --junit-xml=build/tests/second.xml
	$(BIN)/pytest -n 2 --dist loadfile $(TWO_AT_A_TIME) --junit-xml=build/tests/third.xml
	$(BIN)/pytest tests/bench tests/faults tests/web_ui/browser/test_whole_job*.py $(addprefix --ignore=,$(TWO_AT_A_TIME)) --junit-xml=build/tests/fourth.xml
	$(BIN)/python -m tests.hardware.hazards_ran $(addprefix build/tests/,first.xml second.xml third.xml fourth.xml)

check: lint types contracts javascript

lint: $(TOOLS)
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .

types: $(TOOLS)
	$(BIN)/mypy

contracts: $(TOOLS)
	$(BIN)/lint-imports

javascript: web_ui/node_modules/.ready $(LIBRARIES)
	cd web_ui && $(NODE) npm run --silent types
	cd web_ui && $(NODE) npm run --silent lint
	cd web_ui && $(NODE) npm run --silent test

web_ui/node_modules/.ready: $(TOOLS) web_ui/package-lock.json
	@cd web_ui && $(NODE) $(NPM_CI) >/dev/null || { $(NO_NPM); exit 2; }
	@touch $@

kernels: $(TOOLS)
	$(BIN)/python -m device.kernels

packages:
	@tests/bring_debian_packages.sh

hardware: $(TOOLS) packages
	$(BIN)/python -m hardware.wiring hardware/wiring.svg
	$(BIN)/python -m hardware.printed.render build/hardware --pictures
	$(BIN)/python -m hardware.parts
	$(BIN)/python -m hardware.budget

circuits: $(TOOLS) packages
	$(BIN)/pytest -m slow tests/hardware/circuits

faults: $(TOOLS) $(LIBRARIES)
	$(BIN)/python -m tests.faults --trials 400

explore: $(TOOLS)
	$(BIN)/pytest -n 2 --dist loadfile --hypothesis-profile explore -m hypothesis --ignore=tests/bench --ignore=tests/faults --ignore=tests/web_ui/browser

screenshots: $(TOOLS) packages $(LIBRARIES)
	$(BIN)/python -m tests.web_ui.browser.screenshots
	$(BIN)/python -m tests.web_ui.browser.place_screenshots
	$(BIN)/python -m tests.web_ui.browser.review_screenshots
	$(BIN)/python -m tests.web_ui.browser.records_screenshots

perf: $(TOOLS) $(LIBRARIES)
	$(BIN)/python -m tests.perf

clean:
	rm -rf $(VENV) web_ui/node_modules web_ui/static/libraries build dist *.egg-info
