"""What every test of one question shares."""

from analysis.builder import normal_errors

__all__ = ["normal_errors"]
