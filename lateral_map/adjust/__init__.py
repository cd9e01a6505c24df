"""Readings to route: observation equations, the solver, the screening."""
