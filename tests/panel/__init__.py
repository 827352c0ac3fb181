"""Tests of panel."""
