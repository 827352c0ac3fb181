"""Tests of compare."""
