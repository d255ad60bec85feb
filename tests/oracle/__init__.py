"""A second, slow and plain implementation of the costing, for tests to compare with.

It reads a clean records folder and follows the written definitions with loops over rows and exact
fractions. It shares nothing with the package that it checks.
"""

from .tables import review_tables

__all__ = ["review_tables"]
