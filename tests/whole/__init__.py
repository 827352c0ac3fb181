"""Tests of whole."""
