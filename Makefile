# backprobe: `make run` shows it at work, `make test` proves it. Both set up what they need (see scripts/).
PYTHON ?= python3
export PYTHON
# Without bytecode files every start would compile numpy and scipy again.
unexport PYTHONDONTWRITEBYTECODE
# One arithmetic thread a process: the matrices are small, and the tests run two processes side by side.
export OPENBLAS_NUM_THREADS = 1
export OMP_NUM_THREADS = 1

BIN := .venv/bin
PORT ?= 8750
PYTEST_FLAGS ?= -n 2 -q

.PHONY: screenshots help run test soak check bench format lock reference changelog clean set-up

help:
	@echo "make run        explain the example jobs in the terminal, then serve them as pages"
	@echo "make test       run all tests"
	@echo "make soak       kill the server 200 times while readings come in"
	@echo "make check      formatting, lint, types, layers"
	@echo "make bench      measure speed and memory against the targets"
	@echo "make format     put the code into the common format"
	@echo "make reference  write docs/circuits.md from the family files"
	@echo "make screenshots  take the pictures of README.md anew"
	@echo "make changelog  show what has changed since the last version"
	@echo "make lock       pin the newest dependencies in lock.txt"
	@echo "make clean      remove everything that make has made"

set-up:
	@sh scripts/set_up.sh

# The last step serves the pages until Ctrl-C; delete demo/ to begin with fresh example jobs.
run: set-up
	@$(BIN)/backprobe explain examples/*.toml
	@$(BIN)/python -m scripts.demo_jobs demo/jobs.sqlite3
	@$(BIN)/backprobe serve --database demo/jobs.sqlite3 --port $(PORT)

test: set-up
	@sh scripts/get_test_tools.sh
	$(BIN)/python -m pytest $(PYTEST_FLAGS)

soak: set-up
	BACKPROBE_KILLS=200 $(BIN)/python -m pytest -q -s tests/web/test_sudden_death.py

check: set-up
	$(BIN)/python -m ruff format --check .
	$(BIN)/python -m ruff check .
	$(BIN)/python -m mypy
	$(BIN)/lint-imports --no-logo

bench: set-up
	@sh scripts/get_test_tools.sh ngspice
	@$(BIN)/python -m bench

format: set-up
	$(BIN)/python -m ruff format .
	$(BIN)/python -m ruff check --fix .

# No index address may stand in the lock: it is meant for whatever index a user's pip is set to.
lock: set-up
	$(BIN)/python -m uv pip compile --quiet --upgrade --universal --python-version 3.11 --generate-hashes \
		--no-emit-index-url --no-emit-find-links --custom-compile-command "make lock" \
		--group dev pyproject.toml --output-file lock.txt

reference: set-up
	@$(BIN)/python scripts/reference_pages.py

screenshots: set-up
	@$(BIN)/python -m scripts.screenshots

changelog: set-up
	@$(BIN)/python scripts/changelog.py

clean:
	rm -rf .venv demo test-output build dist bench/out .mypy_cache .ruff_cache .pytest_cache .import_linter_cache .hypothesis
	find src tests bench scripts -name __pycache__ -type d -prune -exec rm -rf {} +
