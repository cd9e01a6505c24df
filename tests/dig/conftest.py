"""What every test of the dig review shares."""

from analysis.builder import normal_errors

__all__ = ["normal_errors"]
