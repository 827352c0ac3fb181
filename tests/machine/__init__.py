"""Tests of machine."""
