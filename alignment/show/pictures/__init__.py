"""Figures of results."""
