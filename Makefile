# make demo | test | check | bench | score | faults | fuzz     (Python >= 3.11; everything lands in .venv)
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
PORT ?= 8765
PIP := $(BIN)/python -m pip --disable-pip-version-check --quiet
PYTEST_ARGS ?=

.PHONY: demo test check bench score faults fuzz pictures lock texts sbom audit clean

$(VENV)/run.done: requirements.txt
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || { echo "Steadybead needs Python 3.11 or newer: set PYTHON=..."; exit 2; }
	@test -x $(BIN)/python || $(PYTHON) -m venv $(VENV) || { echo "python venv is missing: on Debian install python3-venv"; exit 2; }
	$(PIP) install --require-hashes -r requirements.txt
	@touch $@

$(VENV)/dev.done: $(VENV)/run.done requirements-dev.txt
	$(PIP) install --require-hashes -r requirements-dev.txt
	@touch $@

$(VENV)/product.done: $(VENV)/run.done pyproject.toml
	$(PIP) install --no-deps --editable .
	@touch $@

demo: $(VENV)/product.done
	$(BIN)/steadybead demo --port $(PORT)

check: $(VENV)/dev.done $(VENV)/product.done
	$(BIN)/ruff format --check .
	$(BIN)/ruff check .
	$(BIN)/mypy
	$(BIN)/bandit -q -c pyproject.toml -r collector api dashboards simulator
	$(BIN)/python -m pytest -q tests/unit/test_layers.py tests/unit/test_pins.py

test: $(VENV)/dev.done $(VENV)/product.done
	@sh tests/servers.sh
	$(BIN)/python -m pytest $(PYTEST_ARGS)

bench: $(VENV)/dev.done $(VENV)/product.done
	@sh tests/servers.sh
	$(BIN)/python tests/bench/run.py $(BENCH_ARGS)

# One family: FAULTS_ARGS="kill-collector --times 50"
faults: $(VENV)/dev.done $(VENV)/product.done
	@sh tests/servers.sh
	$(BIN)/python tests/faults/run.py --json tests/faults/results.json --readme README.md $(FAULTS_ARGS)

score: $(VENV)/dev.done $(VENV)/product.done
	$(BIN)/python tests/bench/score.py $(SCORE_ARGS)

# What a running product consists of, as CycloneDX; and whether an advisory is known for a part.
sbom: $(VENV)/dev.done
	@mkdir -p build
	$(BIN)/cyclonedx-py requirements requirements.txt --pyproject pyproject.toml --output-reproducible -o build/sbom.json

audit: $(VENV)/dev.done
	$(BIN)/pip-audit --require-hashes --disable-pip --strict -r requirements.txt -r requirements-server.txt

fuzz: $(VENV)/dev.done $(VENV)/product.done
	$(BIN)/python tests/fuzz/run.py $(FUZZ_ARGS)

pictures: $(VENV)/dev.done $(VENV)/product.done
	$(BIN)/python -m steadybead_simulator.pictures
	$(BIN)/python tests/browser/take_pictures.py

# Brings the catalogues of the other languages up to date with the texts of the source; fails while
# one is not translated.
texts: $(VENV)/dev.done $(VENV)/product.done
	$(BIN)/python -m steadybead_dashboards.extract

# Pins with hashes and without any registry's address.
lock: $(VENV)/dev.done
	$(BIN)/uv pip compile -q --universal --python-version 3.11 --generate-hashes --no-emit-index-url --no-header --no-annotate pyproject.toml -o requirements.txt
	$(BIN)/uv pip compile -q --universal --python-version 3.11 --generate-hashes --no-emit-index-url --no-header --no-annotate --extra test --extra check -c requirements.txt pyproject.toml -o requirements-dev.txt
	$(BIN)/uv pip compile -q --universal --python-version 3.11 --generate-hashes --no-emit-index-url --no-header --no-annotate --extra postgres -c requirements.txt pyproject.toml -o requirements-server.txt

clean:
	rm -rf $(VENV) build dist
