# Two commands matter: `make demo` and `make check`. Each sets up what it needs and remembers that it did.

# Python 3.11 or later, with venv.  `make check PYTHON=python3.12` picks another.
PYTHON ?= python3
VENV := .venv
BENCH_VENV := .venv-bench
FOLDER_VENV := .venv-folder
BIN := $(VENV)/bin
# The pinned files name every package with its hashes, so nothing else can get in.
PIP_INSTALL := -m pip install --quiet --disable-pip-version-check --require-hashes
# The package itself has no hash: its dependencies are in already, and so is its build backend.
PIP_PACKAGE := -m pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation --editable .
# Half as many workers again as cores (tests/conftest.py), for the browser's tests wait; a fixed seed in the property tests, so a failure comes back on the next run. Each worker has its
# half of the files in their order, so that what a file sets up is set up once, and takes from the other when it is done.
PYTEST_FLAGS ?= -n auto --dist worksteal
# The workers share the cores already; a numerics library that starts its own threads only slows them.
export OMP_NUM_THREADS ?= 1
export OPENBLAS_NUM_THREADS ?= 1
# Where the environment forbids bytecode to be kept, each worker and each command a test starts compiles everything anew:
# the app loads in 1.2 s of processor time with it, in 1.9 s without.
export PYTHONDONTWRITEBYTECODE :=

.DEFAULT_GOAL := help
.PHONY: help demo dev system check lint types order test thorough pictures mutants docs pages release folder bench bench-nuts pins clean

help: ## Say what can be made
	@awk -F ':.*## ' '/^[a-z-]+:.*## / { printf "make %-12s %s\n", $$1, $$2 }' $(MAKEFILE_LIST)

# Stamps: each step of the set-up is done again only when the file it reads is newer.

$(VENV)/made:
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11) and "linewright needs Python 3.11 or later; try make PYTHON=python3.12")'
	$(PYTHON) -m venv $(VENV)
	@touch $@

$(VENV)/runtime: $(VENV)/made requirements.txt
	$(BIN)/python $(PIP_INSTALL) -r requirements.txt
	@touch $@

$(VENV)/package: $(VENV)/runtime pyproject.toml
	$(BIN)/python $(PIP_PACKAGE)
	@touch $@

$(VENV)/dev: $(VENV)/package requirements-dev.txt
	$(BIN)/python $(PIP_INSTALL) -r requirements-dev.txt
	@touch $@

$(BENCH_VENV)/package: requirements-bench.txt pyproject.toml
	$(PYTHON) -m venv $(BENCH_VENV)
	$(BENCH_VENV)/bin/python $(PIP_INSTALL) -r requirements-bench.txt
	$(BENCH_VENV)/bin/python $(PIP_PACKAGE)
	@touch $@

$(FOLDER_VENV)/package: requirements-folder.txt pyproject.toml
	$(PYTHON) -m venv $(FOLDER_VENV)
	$(FOLDER_VENV)/bin/python $(PIP_INSTALL) -r requirements-folder.txt
	@touch $@

demo: $(VENV)/package ## Set up what a user needs and judge the invented bench
	$(BIN)/linewright demo

dev: $(VENV)/dev ## Set up what a contributor needs

check: system lint types order test ## Set everything up and run every check

system: ## Install the browser and the database server that the tests use
	@tools/system.sh

lint: $(VENV)/dev ## Slips and style, and whether every language is whole
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/python tools/messages.py --check

types: $(VENV)/dev ## Types, strictly
	$(BIN)/mypy

order: $(VENV)/dev ## Rooms import only rooms below them
	$(BIN)/lint-imports

test: $(VENV)/dev ## Tests and doctests
	$(BIN)/pytest $(PYTEST_FLAGS) -m "not slow"

thorough: $(VENV)/dev ## All tests, the slow ones too, with many more and ever different examples
	HYPOTHESIS_PROFILE=thorough $(BIN)/pytest $(PYTEST_FLAGS)

pictures: $(VENV)/dev system ## Leave a picture of every page and state of the app in build/pictures
	mkdir -p build/pictures
	LINEWRIGHT_PICTURES=build/pictures $(BIN)/pytest $(PYTEST_FLAGS) tests/web

mutants: $(VENV)/dev ## Change the code a little, many times, and see whether tests notice (by hand: hours)
	nice $(BIN)/python tools/mutants.py $(MUTANTS)

docs: $(VENV)/dev ## Build the site of the pages into build/site; a warning fails it, and so does a command of a page
	$(BIN)/mkdocs build --strict --quiet
	$(BIN)/pytest $(PYTEST_FLAGS) tests/docs

pages: $(VENV)/dev ## Make schemas, blocks of the pages, their pictures and the app's help anew from what commands say
	$(BIN)/python tools/docs_schemas.py
	$(BIN)/python tools/readme.py
	$(BIN)/python tools/docs_help.py

release: $(VENV)/package ## Make wheel, sdist, manual, bill of materials and checksums in dist/, and try the wheel by itself
	$(BIN)/python tools/release.py $(RELEASE)

folder: $(FOLDER_VENV)/package ## Make a folder in dist/ that runs here without Python
	$(FOLDER_VENV)/bin/python $(subst --editable ,,$(PIP_PACKAGE))
	$(FOLDER_VENV)/bin/python tools/folder.py

bench: $(VENV)/package ## Score the engine on benches with known truth
	$(BIN)/python benchmarks/run.py

bench-nuts: $(BENCH_VENV)/package ## Hold the engine against a NUTS sampler, in an environment of its own
	$(BENCH_VENV)/bin/python benchmarks/nuts.py

# The lists of exact versions.  Lower bounds are in pyproject.toml; where packages come from is each machine's
# own affair, so no list names an index.
PIP_COMPILE := CUSTOM_COMPILE_COMMAND="make pins" $(BIN)/pip-compile --quiet --generate-hashes --allow-unsafe \
	--strip-extras --no-emit-find-links --no-emit-trusted-host --no-emit-options \
	--annotation-style line --extra build
pins: $(VENV)/dev ## Write the pinned requirements again
	$(PIP_COMPILE) -o requirements.txt pyproject.toml
	$(PIP_COMPILE) --extra dev -c requirements.txt -o requirements-dev.txt pyproject.toml
	$(PIP_COMPILE) --extra bench -c requirements.txt -o requirements-bench.txt pyproject.toml
	$(PIP_COMPILE) --extra folder -c requirements.txt -o requirements-folder.txt pyproject.toml
	sed -i '/^-/d' requirements.txt requirements-dev.txt requirements-bench.txt requirements-folder.txt

clean: ## Take away everything that was made
	rm -rf $(VENV) $(BENCH_VENV) $(FOLDER_VENV) build dist .pytest_cache .mypy_cache .ruff_cache .import_linter_cache .hypothesis .benchmarks
	find src tests benchmarks -name __pycache__ -type d -prune -exec rm -rf {} +
	find src -name '*.egg-info' -type d -prune -exec rm -rf {} +
