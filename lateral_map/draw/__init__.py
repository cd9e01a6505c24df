"""Drawings of a Report; nothing here saves."""
