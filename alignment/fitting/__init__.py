"""Least squares; knows no machine."""
