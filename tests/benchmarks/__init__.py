"""Speed, run on request: `python -m tests.benchmarks.costing`. Prints ratios, asserts nothing."""
