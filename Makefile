# What a contributor runs every day; DEVELOPERS.md says more. `make test ARGS=tests/desk` narrows it.
PYTHON = .venv/bin/python

.PHONY: install test fast lint bench demo

install:
	python3 -m venv .venv
	.venv/bin/pip install -q -c config/constraints.txt -e '.[test]'

# Everything that an embedded run can test, in as many processes as there are cores.
test:
	$(PYTHON) -m pytest -q -n auto --dist worksteal $(ARGS)

# What takes neither a browser, nor the demo shop, nor hundreds of generated examples: under a minute on two cores.
FAST = tests/reference tests/claims tests/scheduling tests/treatments tests/notifications tests/desk/test_visit_pages.py

fast:
	$(PYTHON) -m pytest -q -n auto --dist worksteal -m "not slow" $(or $(ARGS),$(FAST))

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
