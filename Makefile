# What a contributor runs every day; DEVELOPERS.md says more. `make test ARGS=tests/desk` narrows it.
PYTHON = .venv/bin/python

.PHONY: install test fast lint bench demo

install:
	python3 -m venv .venv
	.venv/bin/pip install -q -c config/constraints.txt -e '.[test]'

# Everything that an embedded run can test, in as many processes as there are cores.
test:
	$(PYTHON) -m pytest -q -n auto --dist worksteal $(ARGS)

# What takes neither a browser nor hundreds of generated examples, in less than a minute on two cores.
fast:
	$(PYTHON) -m pytest -q -n auto --dist worksteal -m "not browser and not slow" $(ARGS)

lint:
	.venv/bin/ruff check .
	.venv/bin/ruff format --check .
	.venv/bin/mypy treatments scheduling claims notifications api desk config
	.venv/bin/lint-imports
	$(PYTHON) manage.py makemigrations --check --dry-run

# Wants DATABASE_URL of a PostgreSQL server; each bench exits non-zero where its bar is missed.
bench:
	$(PYTHON) -m tests.bench.bench_pages
	$(PYTHON) -m tests.bench.bench_scale
	$(PYTHON) -m tests.bench.bench_import

demo:
	$(PYTHON) manage.py demo
