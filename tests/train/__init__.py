"""Tests of train."""
