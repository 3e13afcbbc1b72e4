# The two commands of the README are `make demo` and `make test`; `make check` is what a contributor runs before a commit.
PYTHON ?= python3
VENV ?= .venv
BIN := $(VENV)/bin
DEMO_OUT ?= demo_report

.PHONY: minimum newest audit licences fuzz coverage quality demo test checkers check lint types imports docs site measure long lock clean

$(VENV)/.installed: pyproject.toml requirements.lock
	$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11) and "partscreen needs Python 3.11 or newer")'
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --constraint requirements.lock --editable .
	touch $@

$(VENV)/.installed-dev: $(VENV)/.installed
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --constraint requirements.lock --editable '.[dev]'
	touch $@

demo: $(VENV)/.installed  ## the whole job on the invented scenario
	$(BIN)/partscreen demo --out $(DEMO_OUT)

test: $(VENV)/.installed-dev  ## all tests but the long ones
	$(BIN)/python -m pytest

checkers: tests/browser/node_modules/.package-lock.json  ## accessibility rules and HTML checker for tests/browser (needs npm)

tests/browser/node_modules/.package-lock.json: tests/browser/package-lock.json
	npm ci --prefix tests/browser --ignore-scripts --no-audit --no-fund
	touch $@

check: lint types imports test docs site  ## everything a change must pass

lint: $(VENV)/.installed-dev
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .

types: $(VENV)/.installed-dev
	$(BIN)/mypy

imports: $(VENV)/.installed-dev
	$(BIN)/lint-imports

docs: $(VENV)/.installed-dev  ## every command and code block of README and docs is run
	$(BIN)/python -m pytest -q tests/docs

site: $(VENV)/.installed-dev  ## the pages as a site in the folder site; a warning is an error
	$(BIN)/python -m tests.docs.site site

measure: $(VENV)/.installed-dev  ## benchmarks: ratios of one run
	$(BIN)/python -m benchmarks.fit_speed
	$(BIN)/python -m benchmarks.evidence_speed
	$(BIN)/python -m benchmarks.steps
	$(BIN)/python -m benchmarks.whole_job
	$(BIN)/python -m benchmarks.volume
	$(BIN)/python -m benchmarks.volume_ratios
	$(BIN)/python -m benchmarks.book_volume 100000
	$(BIN)/python -m benchmarks.matching_speed
	$(BIN)/python -m benchmarks.trust_speed
	$(BIN)/python -m benchmarks.report_size

coverage: $(VENV)/.installed-dev  ## lines of the computing rooms that their tests run; fails below 90 % of a room
	$(BIN)/python -m benchmarks.suite --coverage

quality: $(VENV)/.installed-dev  ## measure what docs/quality.md tells, keep it, and write the page: hours
	$(BIN)/python -m benchmarks.suite --coverage
	$(BIN)/python -m benchmarks.suite
	$(BIN)/python -m benchmarks.keep --all
	$(MAKE) minimum newest
	$(BIN)/python -m benchmarks.quality

long: $(VENV)/.installed-dev fuzz mutants  ## the tests that take minutes, and the search for inputs that break a parser
	$(BIN)/python -m pytest -m long

mutants: $(VENV)/.installed-dev  ## small wrong changes of the deciding rooms: do the tests notice? an hour or more
	$(BIN)/python -m tests.mutants.record
	$(BIN)/python -m tests.mutants.run

FUZZED := text workbook json toml reading_string archive
FUZZ_SECONDS ?= 600
fuzz: $(VENV)/.installed-dev  ## coverage-guided search, each parser for FUZZ_SECONDS; what it finds stays in tests/fuzz/found
	$(BIN)/python -m pip install --quiet --disable-pip-version-check 'atheris>=3.0'
	for door in $(FUZZED); do $(BIN)/python -m tests.fuzz.run $$door --seconds $(FUZZ_SECONDS) || exit 1; done

# What the tests of the rooms ask for. ROOMS: some folders of tests/ (benchmarks/versions.py has them all).
TOOLS := 'pytest>=8' 'hypothesis>=6.100' 'zxing-cpp>=2.2' 'pexpect>=4.9' 'httpx2>=2.0' 'jsonschema>=4.20' 'hatchling>=1.25'
MINIMUM ?= .venv-minimum
NEWEST ?= .venv-newest
ROOMS ?=

$(MINIMUM)/.installed: pyproject.toml requirements-minimum.lock
	$(PYTHON) -m venv --clear $(MINIMUM)
	$(MINIMUM)/bin/python -m pip install --quiet --disable-pip-version-check --only-binary :all: --constraint requirements-minimum.lock \
	  $(TOOLS) 'pyarrow>=17'
	$(MINIMUM)/bin/python -m pip install --quiet --disable-pip-version-check --constraint requirements-minimum.lock --editable .
	touch $@

minimum: $(MINIMUM)/.installed  ## the tests of the rooms with the oldest versions allowed, in .venv-minimum; the counts are kept (long)
	$(MINIMUM)/bin/python -m benchmarks.versions minimum $(ROOMS)

newest:  ## the same with the newest versions that there are today, in .venv-newest (long)
	$(PYTHON) -m venv $(NEWEST)
	$(NEWEST)/bin/python -m pip install --quiet --disable-pip-version-check --upgrade --upgrade-strategy eager $(TOOLS) --editable '.[parquet]'
	$(NEWEST)/bin/python -m benchmarks.versions newest $(ROOMS)

audit: $(VENV)/.installed-dev  ## weaknesses on record for the locked versions; says "not run" where no service answers
	$(BIN)/python -m pip install --quiet --disable-pip-version-check 'pip-audit>=2.7'
	$(BIN)/python -m tests.house.audit

licences: $(VENV)/.installed-dev  ## write docs/licences.md
	$(BIN)/python -m tests.docs.written_licences

lock: $(VENV)/.installed-dev  ## write the versions now installed
	$(BIN)/python -m pip freeze --exclude-editable > requirements.lock

clean:
	rm -rf $(VENV) .venv-minimum .venv-newest $(DEMO_OUT) site build dist .pytest_cache .mypy_cache .ruff_cache
