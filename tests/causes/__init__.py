"""Tests of causes."""
