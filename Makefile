# Every target builds .venv from the pinned requirements.txt when it is missing or out of date.

.DEFAULT_GOAL := help
.PHONY: help prove test test-slow test-services test-browser adversary planted check bench firmware docs clean

PYTHON ?= python3
SITE ?= demo
JOBS ?= 3
LIVES ?= 1500
BIN := .venv/bin
READY := .venv/.ready
# Kept bytecode: without it each worker and each program that a test starts compiles all files anew.
unexport PYTHONDONTWRITEBYTECODE
MYPY_FIRMWARE := $(BIN)/mypy --config-file firmware/mypy.ini

help:  ## list the targets
	@grep -E '^[a-z-]+:.*## ' $(MAKEFILE_LIST) | sed -E 's/^([a-z-]+):.*## (.*)/  make \1\t\2/' | expand -t 16

prove: $(READY)  ## prove the built-in demo, or SITE=my.toml, over real summer weather
	mkdir -p build
	$(BIN)/springhouse prove $(SITE) --json build/verdict.json --report build/report.html

test: $(READY)  ## run the tests that a change must pass
	$(BIN)/python -m pytest -n $(JOBS) --dist loadfile --no-loadscope-reorder -m "not slow and not services and not browser"

test-browser: build/.browser docs  ## look at report, desk, handbook in chromium, which root gets from Debian
	$(BIN)/python -m pytest -m "browser and not slow"

test-slow: $(READY)  ## run the long ones: soak, trace identity, power cuts at every byte
	$(BIN)/python -m pytest -n $(JOBS) --dist loadfile -m "slow and not browser"

test-services: $(READY)  ## run those that talk to a real MQTT broker; as root installs it first
	.ci/services
	$(BIN)/python -m pytest -m services

adversary: $(READY)  ## thousands of plant-days under random faults; LIVES=n of two days each
	ADVERSARY_LIVES=$(LIVES) $(BIN)/python -m pytest -s tests/guards/test_plant_adversary.py

planted: $(READY)  ## plant each bug of the lists in a copy, print what refutes it (an hour)
	mkdir -p build
	$(BIN)/python tests/guards/planted.py build/planted --out build/planted.md

check: $(READY) .stubs/rp2/.ready .stubs/esp32/.ready  ## formatting, lint and types
	$(BIN)/ruff format --check .
	$(BIN)/ruff check .
	$(BIN)/mypy hostlib/springhouse_host sim/springhouse_sim
	MYPYPATH=handbook $(BIN)/mypy handbook
	MYPYPATH=firmware:.stubs/rp2 $(MYPY_FIRMWARE) --custom-typeshed-dir .stubs/rp2 firmware
	MYPYPATH=firmware:.stubs/esp32 $(MYPY_FIRMWARE) --custom-typeshed-dir .stubs/esp32 firmware

bench: $(READY)  ## speed of simulation, proof and controller into build/bench.json
	$(BIN)/python -m springhouse_host.benchmark

firmware: $(READY)  ## compile the firmware for each board into build/firmware, print sizes
	$(BIN)/python -m springhouse_host.flashing.build build/firmware

docs: $(READY) .docs/.ready  ## the handbook as a site that can be searched, into build/handbook/site
	$(BIN)/python handbook/stage.py build/handbook/pages
	NO_MKDOCS_2_WARNING=1 .docs/bin/mkdocs build --quiet --config-file build/handbook/mkdocs.yml
	@echo "open build/handbook/site/index.html"

clean:  ## remove what the other targets built
	rm -rf .venv .stubs .docs .mypy_cache .pytest_cache .ruff_cache

# A venv needs python3-venv; the stamp is written last, so a broken build is built again.
$(READY): requirements.txt pyproject.toml
	$(PYTHON) -m venv .venv
	$(BIN)/pip install --quiet --disable-pip-version-check -r requirements.txt
	$(BIN)/pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation -e .
	touch $@

build/.browser: requirements-browser.txt $(READY)
	command -v chromium || { [ "$$(id -u)" != 0 ] && echo "as root: apt-get install chromium"; } || \
	    { apt-get update -q && apt-get install -q -y --no-install-recommends chromium; }
	command -v chromium
	$(BIN)/pip install --quiet --disable-pip-version-check -r requirements-browser.txt
	mkdir -p build
	touch $@

# The two boards' stubs overwrite each other, hence a folder each.
.stubs/%/.ready: requirements-stubs-%.txt $(READY)
	rm -rf .stubs/$*
	$(BIN)/pip install --quiet --disable-pip-version-check --target .stubs/$* -r $<
	touch $@

.docs/.ready: requirements-docs.txt
	$(PYTHON) -m venv .docs
	.docs/bin/pip install --quiet --disable-pip-version-check -r requirements-docs.txt
	touch $@
