# One-command tasks; `just` is not needed, each line can be typed as it stands.

# Everything that CI checks
check:
    bash .ci/run

# All tests
test:
    .venv/bin/python -m pytest

# The demo on a free port
demo:
    .venv/bin/putback demo

# Ratios against floors measured in the same run
bench:
    .venv/bin/python -m tests.bench

# Tidy the code
tidy:
    .venv/bin/ruff check --fix .
    .venv/bin/ruff format .
