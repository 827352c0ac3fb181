"""Tests of the page at the machine."""
