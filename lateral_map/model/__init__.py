"""Frozen data that passes between the layers: sites, routes, results."""
